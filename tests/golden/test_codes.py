"""What the code can say appears in a golden plan; what blocks has its STOP, its page and one rule."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

import pytest

from service.instructions.plan import added_steps, step_table
from service.instructions.plan.clearance_facts import EMPTY_WINDOWS
from service.instructions.plan.scene import CONTRADICTIONS
from service.mounting.charts import KINDS
from service.reference.bearings import TYPES
from service.render import docs
from service.render.sheets.scene import ON_LINE
from service.rules import rules
from service.words import SEATS, TAPERS
from tests.golden import codes, plans

DOCUMENTS = {name: plans.kept(name) for name in plans.names()}
PLANS = [document["plan"] for document in DOCUMENTS.values()]
INPUTS = [document["inputs"] for document in DOCUMENTS.values()]

NOT_SHOWN: dict[str, dict[str, str]] = {"step": {}, "missing": {}}
"""What no golden plan can show, and why."""


STOPS = "service/instructions/plan/data/stops.toml"
PAGES = "service/render/docs/data/blocked.toml"
RULES = "service/render/docs/data/rules.toml"
SHEETS = "ON_LINE of service/render/sheets/scene.py, or NUMBERS_STAND of this file,"
GOLDEN = "tests/golden: a machine of tests/golden/machines that shows it, then python -m tests.golden --write;"


def agree(listed: Iterable[str], where: str, wanted: Iterable[str], what: str) -> None:
    """Fail when a list and what it must list differ, and say which entry belongs into which file."""
    listed, wanted = set(listed), set(wanted)
    gains = [f"{where} must gain an entry {name}: {what}" for name in sorted(wanted - listed)]
    loses = [f"{where} has an entry {name} that nothing in the source uses" for name in sorted(listed - wanted)]
    assert not gains + loses, "\n".join(gains + loses)


def values(node: Any, member: str) -> Iterator[Any]:
    if isinstance(node, dict):
        for key, value in node.items():
            if key == member:
                yield value
            yield from values(value, member)
    elif isinstance(node, list):
        for value in node:
            yield from values(value, member)


def test_there_are_machines_enough() -> None:
    assert len(PLANS) >= 24
    assert all(document["says"] for document in DOCUMENTS.values())


def test_every_code_that_blocks_is_found_in_the_source() -> None:
    """Codes named from memory of the rules, so that a finder that finds nothing does not pass."""
    known = {"class_too_tight", "operating_preload", "over_proof", "travel_too_small", "rotating_load", "rows_differ"}
    assert known | set(CONTRADICTIONS) | set(EMPTY_WINDOWS) <= codes.blocked()


def test_a_code_that_blocks_has_its_stop_its_page_and_one_rule() -> None:
    stops = {code: entry["rule"] for code, entry in added_steps.stops().items()}
    pages = {code: rule for code, (rule, _) in docs.blocked().items()}
    agree(stops, STOPS, codes.blocked(), "a code that blocks has its STOP")
    agree(pages, PAGES, codes.blocked(), "a code that blocks is explained in the docs")
    other = [
        f"{PAGES}: {code} names rule {pages[code]}, {STOPS} names {stops[code]}"
        for code in stops
        if pages[code] != stops[code]
    ]
    assert not other, other
    assert all(entry["title"].startswith("STOP: ") for entry in added_steps.stops().values())


def test_a_stop_in_a_plan_carries_title_and_rule_of_its_code() -> None:
    for made in PLANS:
        found = {step["id"].removeprefix("stop-"): step for step in made["steps"] if step["id"].startswith("stop-")}
        assert found.keys() == {each["code"] for each in made.get("blocked", ())}
        for code, step in found.items():
            known = added_steps.stops()[code]
            assert (step["title"], step["rule"], step["stop"]) == (known["title"], known["rule"], code)


def test_every_code_that_blocks_is_in_a_golden_plan() -> None:
    shown = {each["code"] for made in PLANS for each in made.get("blocked", ())}
    agree(shown, GOLDEN, codes.blocked(), "a golden plan is blocked by it")


@pytest.mark.parametrize("field", sorted(codes.missing()))
def test_every_field_that_can_be_missing_is_in_a_golden_plan(field: str) -> None:
    ends = re.compile(rf"(?:^|/){re.escape(field).replace(re.escape(codes.ANY), '.+')}$")
    shown = any(ends.search(each["field"]) for made in PLANS for each in made.get("missing", ()))
    assert shown != (field in NOT_SHOWN["missing"]), f"{GOLDEN} no golden plan is missing {field}"


def step_ids() -> set[str]:
    """Every step of the tables, and the STOP that each entry makes."""
    stops = {f"stop-{code}" for code in added_steps.stops()}
    return {step.id for step in step_table.built_in_steps()} | stops


@pytest.mark.parametrize("name", sorted(step_ids()))
def test_every_step_is_in_a_golden_plan(name: str) -> None:
    shown = any(step["id"] == name for made in PLANS for step in made["steps"])
    assert shown != (name in NOT_SHOWN["step"]), NOT_SHOWN["step"].get(name, f"{GOLDEN} no golden plan has step {name}")


def rules_of_plans() -> set[str]:
    stops = {entry["rule"] for entry in added_steps.stops().values()}
    return {step.rule for step in step_table.built_in_steps()} | stops | codes.decided_by()


def test_every_rule_that_plans_use_is_in_a_golden_plan() -> None:
    shown = {rule for made in PLANS for rule in values(made, "rule")}
    agree(shown & rules_of_plans(), GOLDEN, rules_of_plans(), "a golden plan uses the rule")


def test_every_rule_that_is_cited_is_one_of_the_rules() -> None:
    cited = rules_of_plans() | codes.cited_rules() | {rule for rule, _ in docs.blocked().values()}
    assert len(cited) > 25
    agree(cited & set(rules()), RULES, cited, "a rule that is cited has its words")


def test_every_seat_type_taper_unit_system_and_kind_of_order_is_there() -> None:
    assert set(values(INPUTS, "seat")) == set(SEATS)
    assert {made["bearing"]["type"] for made in values(PLANS, "targets") for made in made if "bearing" in made} == set(
        TYPES
    )
    assert {each["bearing"]["taper"] for made in values(PLANS, "targets") for each in made if "bearing" in each} == set(
        TAPERS
    )
    assert {given["units"] for given in INPUTS} == {"inch", "metric"}
    assert {given["kind"] for given in INPUTS} == {"replacement", "inspection"}
    assert {1, 2, 3} <= {len(shaft["positions"]) for given in INPUTS for shaft in given["asset"]["shafts"]}


def test_every_kind_of_book_and_blade_set_and_what_was_found_is_there() -> None:
    kinds = {book["kind"] for document in DOCUMENTS.values() for book in document.get("books", ())}
    assert kinds == {*KINDS, "cap_bolt_torque", "housing"}
    sets = {given["blade_set"] if isinstance(given["blade_set"], str) else "own" for given in INPUTS}
    assert sets == {"inch", "metric", "own"}
    assert {member for given in INPUTS for found in given.get("as_found", {}).values() for member in found} == {
        "ring_present", "locknut_side", "lubrication", "ring_moves", "seat_tight",
    }  # fmt: skip
    targets = [target for made in PLANS for target in made.get("targets", ())]
    assert {each["measured"]["verdict"] for each in targets if "measured" in each} == {"accept", "recheck", "reject"}


NUMBERS_STAND: dict[str, str] = {
    "axial_load_over_grip": "nothing is computed from the grip that is on the sheet",
    "bearing_between": "the numbers of the bearings in the order are right; the way to them is not",
    "rotating_load": "the housing is wrong for the load, not a number of the bearing",
    "vertical_shaft": "the whole plan falls: no step and no line is printed",
}


def test_every_code_of_blocked_says_which_line_of_a_sheet_prints_no_number() -> None:
    agree(
        {*ON_LINE, *NUMBERS_STAND},
        SHEETS,
        codes.blocked(),
        "the line of a sheet that prints no number, or why all stand",
    )
    both = set(ON_LINE) & set(NUMBERS_STAND)
    assert not both, f"NUMBERS_STAND of this file must lose {sorted(both)}: ON_LINE names a line for them"
