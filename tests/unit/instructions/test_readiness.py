"""Which questions a job leaves open: by what is a fact and what was said."""

from typing import Any

import pytest

from service import units
from service.instructions.plan.plan import scene_of
from service.instructions.plan.step_table import built_in_steps
from service.instructions.readiness import AMBER, OPEN, RED, all_questions, open_red, questions
from tests.unit.instructions.cases import changed, fan
from tests.unit.instructions.machines import asset, job, position

ANSWERS = {"lifting_plan": True, "tools_at_hand": True, "parts_in_store": True}


def asked(document: dict[str, Any], *names: str, **more: Any) -> list[dict[str, Any]]:
    return questions(scene_of(job(document, *(names or ("tail", "drive")), **more)))


def of(found: list[dict[str, Any]], question: str) -> list[tuple[str | None, str, str]]:
    return [(each["position"], each["status"], each["colour"]) for each in found if each["id"] == question]


def test_nothing_known_leaves_every_red_question_open() -> None:
    found = asked(asset(position("north"), position("south")), "north", "south")
    red = {each["id"] for each in open_red(found)}
    assert {"R1", "R4", "R5", "R8", "R9", "R14", "R15", "R16", "R17"} <= red
    assert {each["id"] for each in found} == {f"R{n}" for n in range(1, 18)}


def test_only_lifting_and_the_lie_of_the_shaft_cannot_be_released() -> None:
    assert {each["id"] for each in asked(fan()) if not each["override"]} == {"R14", "R16"}


def test_every_question_that_names_a_step_names_one_there_is() -> None:
    known = {step.id for step in built_in_steps()}
    named = {each.id: each.step for each in all_questions() if each.step is not None}
    assert set(named.values()) <= known
    assert named["R1"] == "check-parts" and named["R12"] == "before-start"  # [100] and [350] of the order of work


def test_what_was_said_in_the_office_closes_its_question() -> None:
    assert of(asked(fan()), "R14") == [(None, OPEN, RED)]
    answered = asked(fan(), answers=ANSWERS)
    assert [each for name in ("R13", "R14", "R17") for each in of(answered, name)] == [
        (None, "answered", AMBER),
        (None, "answered", RED),
        (None, "answered", RED),
    ]


def test_seat_designs_of_one_width_are_not_asked_about() -> None:
    """522: 80 mm in both designs (published tables); 516: 43 and 58 mm."""
    for size, status in (("522", "answered"), ("516", OPEN)):
        open_design = fan(
            bearing={"designation": "22222 K/C3" if size == "522" else "22216 K/C3"},
            housing={"size": size, "dimensions": "metric"},
            shaft_diameter=units.dimension(100.0 if size == "522" else 70.0),
            sleeve_thread="metric",
        )
        assert {each[1] for each in of(asked(open_design), "R4")} == {status}


@pytest.mark.parametrize(("degc", "colour"), [(70.0, AMBER), (71.0, RED)])
def test_a_hot_shaft_turns_its_temperatures_red(degc: float, colour: str) -> None:
    hot = changed(fan(), {}, shaft={"material": "carbon_steel", "temperature": units.temperature(degc)})
    assert of(asked(hot), "R6") == [(None, OPEN, colour)]


def test_an_overhung_wheel_turns_the_load_red() -> None:
    assert {each[2] for each in of(asked(fan()), "R7")} == {AMBER}
    assert {each[2] for each in of(asked(changed(fan(), {}, overhung=True)), "R7")} == {RED}


def test_a_steep_shaft_stays_open_until_its_maker_has_spoken() -> None:
    steep = changed(fan(), {}, inclination=units.angle(20.0))
    assert of(asked(steep), "R16") == [(None, OPEN, RED)]
    assert of(asked(steep, answers={"said": [["R16", None]]}), "R16") == [(None, "answered", RED)]


def test_an_inspection_asks_nothing_about_what_is_fitted() -> None:
    found = asked(fan(), kind="inspection")
    assert {each[1] for name in ("R2", "R3", "R15", "R17") for each in of(found, name)} == {"not_needed"}
