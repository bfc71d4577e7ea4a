"""What answers change: facts of the machine by position or shaft, or what only the order has."""

from typing import Any

import pytest

from service import units
from service.errors import CannotEvaluate
from service.instructions.answers import ONCE, QUESTIONS, Asked, Change, change_of, with_answer, with_facts
from service.instructions.readiness import all_questions
from tests.unit.instructions.cases import fan

NAMES = ("tail", "drive")


def asked(question: str, value: dict[str, Any], position: str | None = None, worked: tuple[str, ...] = NAMES) -> Asked:
    return Asked(question, position, value, NAMES, worked)


def inputs() -> dict[str, Any]:
    return {"asset": fan(), "positions": [{"name": name, "bearing": None} for name in NAMES]}


def test_every_question_has_its_change() -> None:
    assert [each.id for each in all_questions()] == list(QUESTIONS)


def test_a_fact_goes_to_the_position_named_else_to_those_worked_on() -> None:
    value = {"shaft_diameter": units.dimension(70.0)}
    assert set(change_of(asked("R3", value, "tail")).positions) == {"tail"}
    assert set(change_of(asked("R3", value, worked=("drive",))).positions) == {"drive"}
    assert set(change_of(asked("R8", {"lubrication": "oil", "grease": "VG 220"}, worked=("drive",))).positions) == set(
        NAMES
    )


def test_one_is_held_and_all_others_are_free() -> None:
    found = change_of(asked("R5", {"locating": "tail", "locknut_sides": [{"position": "drive", "side": "minus"}]}))
    assert found.positions == {
        "tail": {"role": "locating"},
        "drive": {"locknut_side": "minus", "role": "free"},
    }


def test_a_body_keeps_what_was_not_sent() -> None:
    change = Change(shaft={"shaft": {"material": "carbon_steel", "temperature": units.temperature(90.0)}})
    machine = fan()
    machine["shafts"][0]["shaft"]["diameter"] = units.dimension(68.2625)
    [shaft] = with_facts(machine, "main", change)["shafts"]
    assert shaft["shaft"]["diameter"].value == 68.2625
    assert shaft["shaft"]["temperature"].value == 90


def test_a_position_that_was_renamed_is_known_by_its_id() -> None:
    machine = fan()
    for number, position in enumerate(machine["shafts"][0]["positions"]):
        position |= {"id": f"p{number}", "name": f"new {number}"}
    change = change_of(asked("R15", {"in_the_way": []}, "drive"))
    [shaft] = with_facts(machine, "main", change, ids={"tail": "p0", "drive": "p1"})["shafts"]
    assert shaft["positions"][1]["in_the_way"] == []
    assert shaft["positions"][0]["in_the_way"] == fan()["shafts"][0]["positions"][0]["in_the_way"]


def test_the_bearing_to_be_fitted_changes_the_order_alone() -> None:
    before = inputs()
    one = asked("R1", {"bearing": {"designation": "22216-k-c4"}}, "tail")
    after = with_answer(before, "main", one, change_of(one))
    assert after["positions"][0]["bearing"] == {"designation": "22216 K/C4"}
    assert after["asset"] == before["asset"]


def test_the_word_of_the_maker_is_taken_back_with_a_flat_shaft() -> None:
    """Above 15 degrees the maker is asked: own convention."""
    steep = asked("R16", {"inclination": units.angle(20.0), "maker": "letter"})
    after = with_answer(inputs(), "main", steep, change_of(steep))
    assert after["answers"]["said"] == [["R16", None]]
    flat = asked("R16", {"inclination": units.angle(0.0)})
    assert with_answer(after, "main", flat, change_of(flat))["answers"]["said"] == []


def test_an_answer_that_says_nothing_new_leaves_the_inputs_as_they_are() -> None:
    before = inputs()
    known = asked("R12", {"stop_limit": before["asset"]["shafts"][0]["stop_limit"]})
    assert with_answer(before, "main", known, change_of(known)) == before


@pytest.mark.parametrize("question", ONCE)
def test_what_is_asked_once_names_no_position(question: str) -> None:
    with pytest.raises(CannotEvaluate) as caught:
        change_of(asked(question, {}, "tail"))
    assert caught.value.code == "position_not_asked"


def test_an_unknown_position_is_refused() -> None:
    with pytest.raises(CannotEvaluate) as caught:
        change_of(asked("R3", {}, "roof"))
    assert (caught.value.code, caught.value.field) == ("unknown_position", "position")
