"""Rule H1: which stays failed, which are censored, which are left out and why."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.history.ages import Age, age
from service.history.damage import CLAUSES
from service.history.observations import observations, replacements, status, time_between_replacements
from service.history.stays import Stay
from service.units import Quantity
from service.words import END_TYPES

BEGIN = datetime(2024, 1, 1, tzinfo=UTC)
NOW = datetime(2026, 6, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("end_type", "inspected", "damage", "expected"),
    [
        ("running", None, None, "censored"),
        ("lost_to_follow_up", None, None, "censored"),
        ("failed", None, None, "failed"),
        ("failed", True, "wear", "failed"),
        ("removed_preventive", True, "wear", "failed"),
        ("removed_condition", None, "5.1.2", "failed"),
        ("removed_preventive", True, None, "censored"),
        ("removed_opportunistic", True, "", "censored"),
        ("removed_condition", None, None, "not_inspected"),
        ("removed_other", False, None, "not_inspected"),
        ("removed_preventive", True, "undetermined", "not_inspected"),
        ("unknown", None, None, "end_unknown"),
        ("unknown", True, "wear", "failed"),
    ],
)
def test_a_stay_counts_as_the_rule_says(end_type, inspected, damage, expected):
    assert status(end_type, inspected, damage) == expected


@pytest.mark.parametrize(("count", "expected"), [("failed", "failed"), ("censored", "censored")])
def test_both_readings_of_uninspected_removals_can_be_asked_for(count, expected):
    assert status("removed_condition", None, None, count) == expected
    assert status("removed_condition", True, None, count) == "censored"
    assert status("failed", None, None, count) == "failed"
    assert status("unknown", None, None, count) == "end_unknown"


def test_a_filter_censors_other_damage_and_leaves_out_unrecorded_damage():
    fatigue = "rolling_contact_fatigue"
    assert status("failed", True, "rolling_contact_fatigue.surface_initiated", damage_filter=fatigue) == "failed"
    assert status("failed", True, "wear|5.1", damage_filter=fatigue) == "failed"
    assert status("failed", True, "wear", damage_filter=fatigue) == "censored"
    assert status("removed_preventive", True, "wear", damage_filter=fatigue) == "censored"
    assert status("failed", None, None, damage_filter=fatigue) == "damage_not_recorded"


def a_stay(days: int, end_type: str, **members) -> Stay:
    ended = None if end_type == "running" else BEGIN + timedelta(days=days)
    members = {"position": "north", "designation": "22216 K"} | members
    return Stay(installed_at=BEGIN, removed_at=ended, end_type=end_type, **members)


def test_counts_add_up_and_reasons_are_told():
    stays = [
        a_stay(100, "failed"),
        a_stay(200, "running", as_of=BEGIN + timedelta(days=300)),
        a_stay(300, "removed_condition"),
        a_stay(300, "unknown"),
        a_stay(100, "removed_condition", inspected=True, damage="wear"),
        a_stay(100, "failed", operating_hours=0.0),
    ]
    found = observations(("all", stay, age(stay, now=NOW)) for stay in stays)
    assert found.time_h == [2400.0, 7200.0, 2400.0]
    assert found.failed == [True, False, True]
    reasons = {one["reason"]: one["count"] for one in found.excluded_records("all")}
    assert reasons == {"not_inspected": 1, "end_unknown": 1, "no_age": 1}
    assert found.stays["all"] == len(found.time_h) + sum(reasons.values())
    assert found.condition_share("all") == 0.5
    assert "left out" in found.assumptions()[0]


def test_the_sound_bearing_changed_with_a_failed_one_is_censored():
    together = [
        a_stay(100, "failed", position="north", work_order="4711"),
        a_stay(100, "removed_opportunistic", position="south", work_order="4711", inspected=True),
    ]
    found = observations(("shaft", stay, age(stay, now=NOW)) for stay in together)
    assert found.failed == [True, False]


def test_a_stay_that_ended_before_it_was_watched_is_left_out():
    found = observations([("a", a_stay(10, "failed"), Age(240.0, 240.0, "calendar", NOW))])
    assert found.excluded_records("a")[0]["reason"] == "not_observed"


def test_replacements_are_counted_by_the_bearing_fitted_after_not_by_failures():
    first = a_stay(100, "removed_preventive")
    second = Stay(position="north", designation="22216 K", end_type="running", installed_at=BEGIN + timedelta(days=100))
    other = a_stay(50, "failed", position="south")  # nothing was fitted after it
    assert replacements([second, other, first]) == [(first, second)]
    assert time_between_replacements(6000.0, 3) == Quantity("time", 2000.0)
    assert time_between_replacements(6000.0, 0) is None


@given(
    st.lists(
        st.tuples(
            st.sampled_from(END_TYPES),
            st.sampled_from([None, True, False]),
            st.sampled_from([None, *CLAUSES]),
            st.integers(0, 900),
        ),
        max_size=20,
    ),
    st.sampled_from(["excluded", "failed", "censored"]),
    st.sampled_from([None, "wear", "corrosion"]),
)
def test_every_stay_is_a_life_or_is_left_out_with_a_reason(rows, count, damage_filter):
    stays = [
        a_stay(days, end, inspected=seen, damage=damage, as_of=BEGIN + timedelta(days=days))
        for end, seen, damage, days in rows
    ]
    found = observations(
        (("all", stay, age(stay, now=NOW)) for stay in stays), count=count, damage_filter=damage_filter
    )
    left_out = sum(one["count"] for one in found.excluded_records("all"))
    assert len(found.time_h) + left_out == len(rows)
    assert all(time > entry >= 0 for time, entry in zip(found.time_h, found.entry_h, strict=True))
