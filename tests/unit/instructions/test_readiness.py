"""What the office must answer before release: seventeen questions, their colours, and when they are answered.

The list, who knows and which colour are copied by hand from the order of work (part 2.2).
"""

import pytest

from service import units
from service.instructions.plan.plan import scene_of
from service.instructions.readiness import open_red, questions
from tests.unit.instructions.cases import changed, fan
from tests.unit.instructions.machines import job, unknown_machine

BOTH = ("tail", "drive")


def asked(document, *names, answered=(), **more):
    return questions(scene_of(job(document, *(names or BOTH), **more)), answered)


def status(found, question, position=None):
    return {each["status"] for each in found if each["id"] == question and position in (None, each["position"])}


def colour(found, question):
    (one,) = {each["colour"] for each in found if each["id"] == question}
    return one


def without(member, *, shaft=False):
    document = changed(fan(), {})
    for holder in [document["shafts"][0]] if shaft else document["shafts"][0]["positions"]:
        holder.pop(member, None)
    return document


def test_every_question_says_who_knows_and_why_it_is_asked():
    for each in asked(fan()):
        assert set(each) >= {"id", "position", "question", "who", "why", "colour", "status"}
        assert each["question"].endswith("?")
        assert each["who"]
        assert each["why"]


def test_of_an_unknown_machine_everything_is_open():
    found = asked(unknown_machine(), "north", "south")
    open_ = {each["id"] for each in found if each["status"] == "open"}
    assert open_ == {f"R{n}" for n in range(1, 18)}


@pytest.mark.parametrize(
    ("question", "member"),
    [
        ("R1", "bearing"),
        ("R2", "sleeve_thread"),
        ("R3", "shaft_diameter"),
        ("R4", "housing"),
        ("R5", "locknut_side"),
        ("R8", "grease"),
        ("R9", "cap_bolts"),
        ("R10", "base_movement"),
        ("R15", "in_the_way"),
    ],
)
def test_a_fact_on_record_answers_its_question(question, member):
    assert "open" in status(asked(without(member)), question)
    if question != "R9":  # one publication only: the housing maker's book is asked all the same
        assert status(asked(fan()), question) == {"answered"}


@pytest.mark.parametrize(("question", "member"), [("R12", "stop_limit"), ("R14", "rotor_mass"), ("R16", "inclination")])
def test_a_fact_of_the_shaft_answers_its_question(question, member):
    answers = {"lifting_plan": True}
    assert status(asked(without(member, shaft=True), answers=answers), question) == {"open"}
    assert status(asked(fan(), answers=answers), question) == {"answered"}


def test_a_shaft_over_fifteen_degrees_is_asked_about():
    for degrees, said in ((10.0, "answered"), (16.0, "open"), (90.0, "open")):
        assert status(asked(changed(fan(), {}, inclination=units.angle(degrees))), "R16") == {said}


def test_temperatures_are_red_on_a_hot_shaft_and_the_load_red_on_a_belt():
    assert colour(asked(fan()), "R6") == "red"  # 80 degC
    cool = changed(fan(), {}, shaft={"material": "carbon_steel", "temperature": units.temperature(60.0)})
    assert colour(asked(cool), "R6") == "amber"
    assert colour(asked(fan()), "R7") == "amber"
    belt = changed(fan(), {}, drives=[{"at": units.distance(3414.0), "kind": "belt"}])
    assert colour(asked(belt), "R7") == "red"


def test_seat_designs_are_asked_about_only_where_they_differ():
    """505 and 522 to 532 have equal seats in both designs: never asked there."""
    asked_516 = asked(fan(housing={"size": "516", "dimensions": "metric"}))
    assert status(asked_516, "R4") == {"open"}
    equal = fan(
        housing={"size": "522", "dimensions": "metric"},
        bearing={"designation": "22222 K/C3"},
        shaft_diameter=units.dimension(100.0),
    )
    assert status(asked(equal), "R4") == {"answered"}


def test_an_inspection_needs_no_parts_and_no_shaft():
    found = asked(fan(), kind="inspection")
    for question in ("R2", "R3", "R10", "R11", "R15", "R17"):
        assert status(found, question) == {"not_needed"}


def test_a_class_that_was_not_marked_is_asked_before_release():
    assert status(asked(fan(bearing={"designation": "22216 K"})), "R1") == {"open"}


def test_a_bearing_without_practice_asks_for_its_makers_book():
    """C5 has a row in the standard and none in the practice."""
    assert status(asked(fan(bearing={"designation": "22216 K/C5"})), "R11") == {"open"}
    assert status(asked(fan()), "R11") == {"answered"}


def test_what_was_answered_for_this_order_is_not_asked_again():
    assert status(asked(fan(), answered={("R9", None)}), "R9") == {"answered"}
    one = asked(fan(), answered={("R9", "tail")})
    assert status(one, "R9", "tail") == {"answered"}
    assert status(one, "R9", "drive") == {"open"}


def test_what_keeps_an_order_from_being_released_is_red_and_open():
    found = open_red(asked(fan()))
    assert found
    assert {(each["colour"], each["status"]) for each in found} == {("red", "open")}
    assert not [each for each in found if each["id"] in ("R7", "R10", "R12", "R13")]
