"""The steps as data: what the tables must hold, and what is refused when they are read."""

import re

import pytest

from service.errors import TableError
from service.instructions.plan import step_table
from service.instructions.plan.step_table import PHASES, built_in_steps, step_template, with_site_steps
from service.rules import rules

STEP = {
    "id": "grease-type",
    "phase": "grease",
    "per": "order",
    "title": "Read the grease label",
    "text": "Read it.",
    "rule": "I8",
}


def test_every_rule_that_a_step_cites_exists():
    cited = {step.rule for step in built_in_steps()}
    cited |= {each["rule"] for each in step_table.questions().values() if "rule" in each}
    cited |= {each["rule"] for each in step_table.stops().values()}
    assert cited <= set(rules())
    assert len(cited) > 10


def test_every_phase_of_the_order_of_work_has_a_step():
    assert {step.phase for step in built_in_steps()} == set(PHASES)


def test_every_source_that_a_step_cites_by_name_is_listed():
    named = {
        "".join(part for part in each.parts if isinstance(part, str))
        for step in built_in_steps()
        for each in step.sources
        if not each.names
    }
    assert named <= set(step_table.sources())
    assert "29-cfr-1910-147" in named


def test_titles_fit_on_a_line_of_a_maintenance_system():
    titles = [step.title for step in built_in_steps()]
    titles += [each["title"] for each in step_table.questions().values() if "title" in each]
    titles += [each["title"] for each in step_table.stops().values()]
    assert all(0 < len(title) <= 40 and title.isascii() for title in titles)


def test_every_question_that_is_covered_names_a_step():
    ids = {step.id for step in built_in_steps()}
    covered = {each["covered_by"] for each in step_table.questions().values() if "covered_by" in each}
    assert covered
    assert covered <= ids


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"title": "x" * 41}, "40 characters"),
        ({"title": "Größe"}, "40 characters"),
        ({"phase": "lunch"}, "unknown phase"),
        ({"per": "shift"}, "per is one of"),
        ({"rule": "Z9"}, "not a rule"),
        ({"rule": "C11"}, "not a rule"),
        ({"holdpoint": True}, "unknown member holdpoint"),
        ({"text": ""}, "lacks text"),
        ({"record": {"unit": "mm"}}, "a record has kind"),
        ({"text": "Fit {bearing}."}, "say what to do without bearing"),
        ({"text": {"say": "Fit {bearing}.", "without": "Fit {bore}."}}, "say what to do without bore"),
    ],
)
def test_a_step_that_could_not_be_said_is_refused(change, words):
    with pytest.raises(TableError, match=re.escape(words)):
        step_template({**STEP, **change})


def test_a_site_replaces_a_step_by_its_id_and_adds_one_after_another():
    own = [{**STEP, "id": "grease", "per": "position"}, {**STEP, "after": "oil"}]
    steps = with_site_steps(built_in_steps(), own)
    ids = [step.id for step in steps]
    assert len(steps) == len(built_in_steps()) + 1
    assert next(step for step in steps if step.id == "grease").title == "Read the grease label"
    assert ids.index("grease-type") == ids.index("oil") + 1


def test_a_site_step_that_stands_nowhere_is_refused():
    with pytest.raises(TableError, match="after names no step"):
        with_site_steps(built_in_steps(), [{**STEP, "after": "coffee"}])
