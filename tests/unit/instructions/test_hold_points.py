"""Which hold points are open: the last entry counts, too tight starts again, another person approves.

The rules are those of the trade: the taper holds, so nothing is accepted after a reading that was too tight until the
bearing was freed and measured again (common practice, no source).
"""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.instructions.readings.hold_points import (
    DEVIATION,
    Entry,
    entry_of,
    open_hold_points,
    same_person,
    verdict_in_sequence,
)
from service.instructions.readings.readings import Reading, Value
from service.mounting.clearance import Measured
from service.mounting.readings import Verdict
from tests.unit.instructions.machines import complete_fan, plan_of, two_locating

PLAN = plan_of(complete_fan(), "tail", measured={"tail": Measured(((101_600,),))})


def entry(kind, position="tail", *, verdict="accept", code=None, step=None, person="A. Fitter", revision=2, made=None):
    return Entry(
        kind=kind,
        position=position,
        step=step,
        verdict=verdict,
        code=code,
        revision=revision,
        person=person,
        made_revision=made,
    )


INITIAL = entry("initial_clearance", revision=1, made=2)
INITIAL_AGAIN = entry("initial_clearance", made=3)
RESIDUAL = entry("residual_clearance")
TOO_TIGHT = entry("residual_clearance", verdict="reject", code="too_tight")
TOO_LOOSE = entry("residual_clearance", verdict="reject", code="too_loose")
APPROVED = entry(DEVIATION, step="residual-clearance", person="B. Foreman")


def open_ids(*entries, outcomes=None, plan=PLAN):
    return [point.id for point in open_hold_points(plan, entries, outcomes)]


def all_ids(plan=PLAN):
    return [step["id"] for step in plan["steps"] if step["hold_point"]]


def in_sequence(*entries, kind="residual_clearance", revision=2):
    reading = Reading(kind=kind, position="tail", values=(Value(quantity=units.clearance(1)),))
    return verdict_in_sequence(Verdict("accept", None, (), None, "", ""), reading, revision, entries)


def test_at_the_start_every_hold_point_is_open_in_the_order_of_work():
    assert open_ids() == all_ids()
    numbers = [point.number for point in open_hold_points(PLAN, ())]
    assert all(before < after for before, after in pairwise(numbers))


def test_an_accepted_reading_closes_its_hold_point_and_no_other():
    assert set(all_ids()) - set(open_ids(INITIAL)) == {"initial-clearance"}
    assert set(all_ids()) - set(open_ids(INITIAL, RESIDUAL)) == {"initial-clearance", "residual-clearance"}


def test_the_last_reading_counts():
    assert "residual-clearance" in open_ids(INITIAL, RESIDUAL, TOO_LOOSE)
    assert "residual-clearance" not in open_ids(INITIAL, RESIDUAL, TOO_LOOSE, RESIDUAL)


def test_a_new_initial_clearance_opens_the_residual_again():
    assert "residual-clearance" in open_ids(INITIAL, RESIDUAL, INITIAL_AGAIN)


def test_after_too_tight_the_initial_clearance_is_open_too():
    found = open_ids(INITIAL, TOO_TIGHT)
    assert {"initial-clearance", "residual-clearance"} <= set(found)
    again = open_ids(INITIAL, TOO_TIGHT, INITIAL_AGAIN)
    assert "initial-clearance" not in again and "residual-clearance" in again


def test_an_accept_after_too_tight_is_refused_until_the_initial_clearance_is_measured_again():
    refused = in_sequence(INITIAL, TOO_TIGHT)
    assert (refused.verdict, refused.code) == ("reject", "initial_clearance_needed")
    assert in_sequence(INITIAL, TOO_TIGHT, INITIAL_AGAIN, revision=3).verdict == "accept"


def test_an_initial_clearance_that_is_not_accepted_starts_nothing():
    refused = entry("initial_clearance", verdict="reject", code="wrong_bearing_or_measurement")
    assert in_sequence(INITIAL, TOO_TIGHT, refused).code == "initial_clearance_needed"
    assert "initial-clearance" in open_ids(INITIAL, refused)


def test_too_loose_goes_on():
    assert in_sequence(INITIAL, TOO_LOOSE).verdict == "accept"


@pytest.mark.parametrize("kind", ["axial_displacement", "nut_turn"])
def test_displacement_and_nut_turn_are_not_accepted_after_too_tight_either(kind):
    assert in_sequence(INITIAL, TOO_TIGHT, kind=kind).code == "initial_clearance_needed"


def test_blades_are_believed_more_than_displacement():
    too_far = entry("axial_displacement", verdict="reject", code="too_far")
    assert in_sequence(INITIAL, too_far).verdict == "accept"
    assert in_sequence(INITIAL, too_far, kind="nut_turn").code == "initial_clearance_needed"


def test_a_card_from_before_the_new_start_no_longer_counts():
    found = in_sequence(INITIAL, TOO_TIGHT, INITIAL_AGAIN, revision=2)
    assert (found.verdict, found.code) == ("recheck", "revision_superseded")


def test_another_bearing_s_start_does_not_matter():
    other = entry("initial_clearance", "drive", made=3)
    assert in_sequence(INITIAL, other, revision=2).verdict == "accept"


def test_a_deviation_closes_a_hold_point_unless_its_person_did_the_work():
    assert "residual-clearance" not in open_ids(INITIAL, TOO_LOOSE, APPROVED)
    own = entry(DEVIATION, step="residual-clearance", person="a.  fitter")
    assert "residual-clearance" in open_ids(INITIAL, TOO_LOOSE, own)
    late = entry("residual_clearance", verdict="recheck", code="near_limit", person="B. Foreman")
    assert "residual-clearance" in open_ids(INITIAL, APPROVED, late)


def test_a_deviation_after_too_tight_lets_the_bearing_be():
    assert not {"initial-clearance", "residual-clearance"} & set(open_ids(INITIAL, TOO_TIGHT, APPROVED))
    assert "residual-clearance" in open_ids(INITIAL, APPROVED, TOO_TIGHT)
    assert "residual-clearance" in open_ids(INITIAL, APPROVED, INITIAL_AGAIN)


def test_stop_steps_are_open_until_a_deviation():
    plan = plan_of(two_locating(), "tail")
    assert "stop-cross_located" in open_ids(plan=plan)
    stop = entry(DEVIATION, None, step="stop-cross_located", person="B. Foreman")
    point = next(p for p in open_hold_points(plan, ()) if p.id == "stop-cross_located")
    assert point.position is None and "deviation" in point.needs
    assert "stop-cross_located" not in open_ids(stop, plan=plan)


def test_run_in_is_open_while_one_housing_is_too_hot():
    good, hot = entry("run_in_temperature"), entry("run_in_temperature", "drive", verdict="reject", code="x")
    assert "run-in" not in open_ids(good)
    assert "run-in" in open_ids(good, hot)
    assert "run-in" not in open_ids(good, hot, entry("run_in_temperature", "drive"))


def test_what_was_not_done_asks_for_nothing_at_its_position():
    assert open_ids(outcomes={"tail": "not_done"}) == []
    both = plan_of(complete_fan(), "tail", "drive")
    still = open_hold_points(both, (), {"tail": "not_done", "drive": "replaced"})
    assert {point.position for point in still} == {"drive", None}
    looked = open_ids(outcomes={"tail": "inspected_only"})
    assert "residual-clearance" not in looked and "bearing-spacing" not in looked
    assert {"isolate", "rings", "free-setting", "grease", "cap-torque", "run-in"} <= set(looked)
    assert open_ids(outcomes={"tail": "replaced"}) == all_ids()


def test_a_confirmation_belongs_to_the_one_place_its_step_has():
    reading = Reading(kind="confirmation", step="grease", position=None, values=(Value(),))
    found = entry_of(reading, Verdict("accept", None, (), None, "", ""), revision=1, person="A. Fitter", plan=PLAN)
    assert found.position == "tail"
    assert "grease" not in open_ids(found)


@pytest.mark.parametrize(
    "other",
    [
        " a.  FITTER",
        "A Fitter",
        "A.Fitter",
        "A. Fitter.",
        "Fitter, A.",
        "Ａ. Fitter",
        "A.\u00a0Fit\u200bter",
        "-",
        "...",
    ],
)
def test_a_name_set_otherwise_does_not_make_another_person(other: str) -> None:
    """Unicode TR 15 (compatibility forms); common practice, no source, for points and order."""
    assert same_person("A. Fitter", other)


def test_other_names_are_other_persons():
    assert not same_person("A. Fitter", "B. Fitter")
    assert not same_person("A. Fitter", "A. Fitters")


ENTRIES = st.lists(st.sampled_from([INITIAL, INITIAL_AGAIN, RESIDUAL, TOO_TIGHT, TOO_LOOSE]), max_size=12)


@given(ENTRIES)
def test_the_residual_is_closed_exactly_when_it_was_accepted_last_and_nothing_started_since(entries):
    """The rule said again: of residuals and starts, the last one is an accepted residual."""
    of_mounting = [each for each in entries if each.kind in ("residual_clearance", "initial_clearance")]
    assert ("residual-clearance" not in open_ids(*entries)) == (of_mounting[-1:] == [RESIDUAL])


@given(ENTRIES)
def test_nothing_is_accepted_while_the_bearing_is_too_tight(entries):
    starts = [n for n, each in enumerate(entries) if each.kind == "initial_clearance"]
    since = entries[starts[-1] :] if starts else entries
    accepted = in_sequence(*entries, revision=3).verdict == "accept"
    assert accepted == (TOO_TIGHT not in since)
