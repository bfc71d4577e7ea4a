"""The steps as data: what the tables must hold, and what is refused when they are read."""

import re

import pytest

from service.errors import TableError
from service.instructions.plan.added_steps import stop_template, stops
from service.instructions.plan.messages import SAYS
from service.instructions.plan.step_table import (
    built_in_steps,
    checked_places,
    phases,
    sources,
    step_template,
    typical_facts,
    with_site_steps,
)
from service.instructions.plan.walk import walks
from service.instructions.readiness import all_questions
from service.rules import rules

STEP = {
    "id": "grease-type",
    "phase": "close",
    "title": "Read the grease label",
    "brief": "Read it.",
    "standard": "Read the label.",
    "rule": "I8",
}

NINE = {  # what cannot be undone, copied by hand from the order of work: hold and the step at which it is signed
    "isolate": 1,
    "recheck": 1,
    "shaft-size": 2,
    "initial": 3,
    "residual": 4,
    "residual-free": 4,
    "place-free": 5,
    "place-shaft": 5,
    "move-base": 5,
    "last-look": 6,
    "cap-torque": 7,
    "before-start": 8,
    "run-in": 9,
}


def test_every_rule_that_a_step_cites_exists():
    cited = {step.rule for step in built_in_steps()} | {each["rule"] for each in stops().values()}
    assert cited <= set(rules())
    assert len(cited) > 10


def test_the_nine_holds_stand_at_the_steps_that_cannot_be_undone():
    assert {step.id: step.hold for step in built_in_steps() if step.hold is not None} == NINE


def test_every_walk_takes_known_steps_and_every_step_is_walked():
    ids = {step.id for step in built_in_steps()}
    walked = {step for walk in walks().values() for stop in walk for step in stop.steps}
    assert walked == ids


def test_every_phase_has_a_step():
    assert {step.phase for step in built_in_steps()} == set(phases())


def test_every_source_that_a_step_cites_by_name_is_listed():
    named = {each.fixed for step in built_in_steps() for each in step.sources if each.fixed}
    assert named <= set(sources())
    assert "29-cfr-1910-147" in named


def test_every_stop_can_be_said_and_stands_before_a_known_step():
    ids = {step.id for step in built_in_steps()}
    for code in stops():
        template, before = stop_template(code)
        assert template.title.startswith("STOP: ")
        assert before
        assert set(before) <= ids
        assert template.hold is None


def test_an_unknown_code_gets_a_stop_too():
    assert stop_template("something_new")[0].id == "stop-something_new"


def test_no_message_says_the_same_as_another():
    texts = [each.message for each in SAYS.messages.values()]
    assert len(set(texts)) >= len(texts) - 1  # `bolts_thread` and other bare facts may meet


def test_the_questions_are_the_seventeen_and_two_of_them_cannot_be_overridden():
    assert [each.id for each in all_questions()] == [f"R{n}" for n in range(1, 18)]
    assert {each.id for each in all_questions() if not each.override} == {"R14", "R16"}
    amber = {each.id for each in all_questions() if each.colour == "amber"}
    assert amber == {"R6", "R7", "R10", "R12", "R13"}


def test_the_cautions_of_a_phase_speak_of_known_facts():
    for phase in phases().values():
        for caution in phase.cautions:
            checked_places(phase.id, caution)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"title": "x" * 41}, "40 characters"),
        ({"title": "Größe"}, "40 characters"),
        ({"phase": "lunch"}, "unknown phase"),
        ({"per": "shift"}, "per is one of"),
        ({"rule": "Z9"}, "not a rule"),
        ({"rule": "C11"}, "not a rule"),
        ({"hold": 10}, "a hold is 1 to 9"),
        ({"holdpoint": True}, "unknown member holdpoint"),
        ({"standard": ""}, "lacks standard"),
        ({"record": {"unit": "mm"}}, "a record has kind"),
        ({"standard": "Fit {bearings}."}, "unknown placeholder bearings"),
        ({"full": {"say": "Fit.", "without": "Fit {borre}."}}, "unknown placeholder borre"),
        ({"brief": "x" * 61}, "at most 60"),
        ({"brief": ["Leave {residual_range}, aim {leave}, floor {floor}, on every row.", "Leave it."]}, "at most 60"),
        ({"brief": "Leave {leave}."}, "last brief text has no places"),
        ({"standard": "word " * 36}, "36 words"),
        ({"standard": ["word " * 30, {"say": "and six more words stand here", "when": ["oil"]}]}, "36 words"),
    ],
)
def test_a_step_that_could_not_be_said_is_refused(change, words):
    with pytest.raises(TableError, match=re.escape(words)):
        step_template({**STEP, **change})


def test_every_fact_has_a_typical_value():
    assert all(typical_facts().values())


def test_a_site_replaces_a_step_by_its_id_and_adds_one_after_another():
    own = [{**STEP, "id": "grease"}, {**STEP, "after": "turn"}]
    steps = with_site_steps(built_in_steps(), own)
    assert [step.title for step in steps if step.id == "grease"] == ["Read the grease label"]
    assert [step.after for step in steps if step.id == "grease-type"] == ["turn"]


def test_a_site_step_that_stands_nowhere_is_refused():
    with pytest.raises(TableError, match="after names no step"):
        with_site_steps(built_in_steps(), [{**STEP, "after": "coffee"}])
