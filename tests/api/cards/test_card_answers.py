"""Questions of readiness answered on the phone: what is typed is what the API takes."""

from typing import Any
from uuid import uuid4

import pytest
from flask.testing import FlaskClient

from service.api.cards.answer_forms import answer_value, places_of
from service.api.cards.forms import NotTyped
from service.api.orders.readiness.schemas import VALUES, AnswersRequest
from tests.api.cards.typed import entry, forms, link_to
from tests.api.samples.checked import Client
from tests.api.samples.orders import FITTER, opened

SIDES = {"minus": "drive side", "plus": "tail side"}
NAMES = ("drive", "tail")
TYPED: dict[str, dict[str, str]] = {
    "R1": {"bearing.designation": "22216 K/C3"},
    "R2": {"seat": "adapter_sleeve", "sleeve_thread": "inch"},
    "R3": {"shaft_diameter": "2 11/16"},
    "R4": {"housing.size": "516", "housing.dimensions": "metric"},
    "R5": {"locating": "drive", "side-0": "minus", "side-1": "plus"},
    "R6": {
        "shaft.material": "carbon_steel",
        "shaft.temperature": "160",
        "shaft.temperature-unit": "degF",
        "hollow": "no",
    },
    "R7": {"speed": "1180", "radial_load": "900", "load_direction": "down"},
    "R8": {"lubrication": "grease", "grease": "EP 2", "grease_fill": "240"},
    "R9": {"torque": "110", "bolts.thread": "5/8-11 UNC", "bolts.lubrication": "oiled"},
    "R10": {"base_movement": "pinned", "base_torque": "150"},
    "R11": {"chart": "book of the maker"},
    "R12": {"stop_limit": "140"},
    "R13": {"at_hand": "no", "lacking": "depth gauge\n\n0.002 blade"},
    "R14": {"rotor_mass": "1200", "lifting_plan": "LP-7", "isolation_points": "MCC 4\nvalve 12"},
    "R15": {"nothing": "these", "keyed": "sheave", "loose": "guard"},
    "R16": {"inclination": "0"},
    "R17": {"in_store": "yes"},
}


@pytest.mark.parametrize("metric", [False, True])
@pytest.mark.parametrize("question", list(VALUES))
def test_what_is_typed_is_what_the_api_takes(question: str, metric: bool) -> None:
    """The schema of POST .../answers is the oracle; what it does not know, it refuses."""
    places = places_of(question, names=NAMES, sides=SIDES, metric=metric)
    value = answer_value(question, TYPED[question], places, NAMES)
    given = {"question": question, "value": value, "answered_by": FITTER}
    AnswersRequest().load({"answers": [given]})


def test_the_unit_of_the_site_comes_first() -> None:
    inch, metric = (places_of("R12", names=NAMES, sides=SIDES, metric=metric)[0].units for metric in (False, True))
    assert (inch, metric) == (("degF", "degC"), ("degC", "degF"))


@pytest.mark.parametrize(
    ("question", "typed"),
    [
        ("R12", {}),
        ("R12", {"stop_limit": "warm"}),
        ("R12", {"stop_limit": "190", "stop_limit-unit": "K"}),
        ("R15", {"nothing": "nothing", "keyed": "sheave"}),
        ("R15", {"nothing": "these"}),
        ("R2", {"seat": "glue"}),
    ],
)
def test_what_is_not_said_is_not_guessed(question: str, typed: dict[str, str]) -> None:
    with pytest.raises(NotTyped):
        answer_value(question, typed, places_of(question, names=NAMES, sides=SIDES, metric=False), NAMES)


def question(client: Client, made: dict[str, Any], name: str) -> dict[str, Any]:
    asked = client.get(f"/v1/work-orders/{made['id']}/readiness").json["questions"]
    (found,) = [each for each in asked if each["id"] == name and each["position"] in (None, "tail")]
    return dict(found)


def test_an_answer_makes_the_card_anew(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    assert f"{path}/answer/R12" in phone.get(f"{path}/questions").text
    (form,) = forms(phone.get(f"{path}/answer/R12").text)
    taken = phone.post(
        f"{path}/answer/R12", data=form | {"stop_limit": "190", "taken_by": FITTER, "source": "manual, page 12"}
    )
    assert taken.status_code == 303 and "/questions?sent=" in taken.headers["Location"], taken.text
    found = question(client, made, "R12")
    assert (found["status"], found["answer"]["answered_by"], found["answer"]["source"]) == (
        "answered",
        FITTER,
        "manual, page 12",
    )
    assert found["answer"]["made_revision"] == 2
    assert phone.get(f"{path}/answer/R12").status_code == 404, "it is asked no more"


def test_what_is_not_taken_stands_in_the_form_still(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    (form,) = forms(phone.get(f"{path}/answer/R12").text)
    for typed, said in (("warm", "is not a number"), ("1900", "stop_limit")):
        refused = phone.post(f"{path}/answer/R12", data=form | {"stop_limit": typed, "taken_by": FITTER})
        assert refused.status_code == 422 and said in refused.text and f'value="{typed}"' in refused.text
    assert question(client, made, "R12")["status"] == "open"


def test_an_answer_that_waited_is_kept_once(client: Client, phone: FlaskClient) -> None:
    made = opened(client)
    path = link_to(client, made["id"])
    fields = {"question": "R12", "stop_limit": "190", "stop_limit-unit": "degF", "taken_by": FITTER}
    sent = entry(fields, what="answer", id=str(uuid4()))
    first, again = (phone.post(f"{path}/entries", json=sent) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201), first.text
    assert first.json["page"].startswith(f"{path}/questions")
    assert client.get(f"/v1/work-orders/{made['id']}").json["revision"] == 2


def test_a_question_that_the_card_does_not_ask_is_refused(client: Client, phone: FlaskClient) -> None:
    path = link_to(client, opened(client)["id"])
    assert phone.get(f"{path}/answer/R99").status_code == 404
    asked = entry({"question": "R99", "taken_by": FITTER}, what="answer", id=str(uuid4()))
    assert phone.post(f"{path}/entries", json=asked).status_code == 422
