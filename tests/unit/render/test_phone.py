"""What the phone says: numbers at a fixed point, verdicts in words that say what to do now, where the job stands."""

from typing import Any

import pytest

from service import units
from service.instructions.plan.job import job_from_record
from service.instructions.plan.plan import plan
from service.instructions.readings.entries import Entry
from service.mounting.blades import blade_set_of
from service.mounting.readings import ACCEPT, RECHECK, REJECT, Verdict
from service.render.phone.figures import Blank, Figures
from service.render.phone.places import progress
from service.render.phone.results import Result
from service.render.phone.screens import overview, step_screen, strips
from service.render.phone.words import next_blade, spoken
from service.units import Quantity, clearance, nm_from_in
from tests.unit.instructions.machines import complete_fan

INCH, METRIC = Figures("inch"), Figures("metric")


def made_plan(**more: Any) -> dict[str, Any]:
    job = job_from_record(
        complete_fan(), replaced=[("tail", None), ("drive", None)], kind="replacement", units="inch",
        blade_set=blade_set_of("inch"), **more,
    )  # fmt: skip
    return plan(job)


@pytest.mark.parametrize(
    ("kind", "low", "high", "figures", "shown"),
    [
        ("initial_clearance", clearance(95_000), clearance(120_000), INCH, "0.00__"),
        ("initial_clearance", clearance(95_000), clearance(120_000), METRIC, "0.___"),
        ("residual_clearance", None, clearance(120_000), INCH, "0.00__"),
        ("shaft_diameter", units.dimension(68.16), units.dimension(68.26), INCH, "2.____"),
        ("free_gap", Quantity("gap_least", 2.6), Quantity("gap_most", 9.1), INCH, "0.___"),
        ("free_gap", Quantity("gap_least", 2.6), Quantity("gap_most", 9.1), METRIC, ""),
        ("cap_bolt_torque", units.torque(149.0), units.torque(149.0), INCH, ""),
        ("initial_clearance", None, None, INCH, ""),
    ],
)
def test_the_digits_that_all_readings_near_the_limits_share_are_printed(
    kind: str, low: Quantity | None, high: Quantity | None, figures: Figures, shown: str
) -> None:
    """By hand: half of 0.0037 in to 1.6 times 0.0047 in all begin with 0.00; where no digit is shared none is fixed."""
    blank = figures.blank(kind, low, high)
    assert blank.shown == shown and blank == Blank(shown.rstrip("_"), shown.count("_"))


def test_a_range_says_its_unit_once() -> None:
    assert INCH.span(clearance(95_000), clearance(120_000)) == "0.0037 to 0.0047 in"
    assert INCH.span(clearance(63_500), clearance(63_500)) == "0.0025 in"
    assert METRIC.line(("limits ", clearance(95_000), " to ", clearance(120_000), ".")) == "limits 0.095 to 0.120 mm."


def test_no_reject_sounds_like_going_on_and_no_accept_like_stopping() -> None:
    for code in ("too_tight", "wrong_bearing_or_measurement", "residual_over_initial", "rings_wrong", "anything_else"):
        said = spoken("residual_clearance", Verdict(REJECT, code, (), None, "", ""), INCH, target=None)
        assert said.head.startswith("STOP"), code
    for kind in ("initial_clearance", "shaft_diameter", "confirmation", "class_read"):
        assert "STOP" not in spoken(kind, Verdict(ACCEPT, None, (), None, "", ""), INCH, target=None).head


def target() -> dict[str, Any]:
    return {
        "residual_clearance": {"min": clearance(50_800), "max": clearance(63_500), "provisional": False},
        "blades": {"target": [Quantity("blade_in", 63_500)], "must_not_pass": [Quantity("blade_in", 76_200)]},
    }


def test_a_reading_that_is_too_loose_names_the_blade_to_try_and_one_where_nothing_was_taken_turns_no_nut() -> None:
    rows = (float(nm_from_in("0.0030")),) * 2
    loose = spoken(
        "residual_clearance", Verdict(REJECT, "too_loose", (), None, "", ""), INCH, target=target(), rows_nm=rows
    )
    assert loose.now[0] == "A small step on the nut, then try the 0.003: it must not go in any more."
    assert (loose.leave, loose.goes_in, loose.must_not) == ("0.0020 to 0.0025 in", "0.0025", "0.003")
    said = "Measure again before the nut is turned."
    found = Verdict(RECHECK, "nothing_taken", (), None, "", said)
    nothing = spoken("residual_clearance", found, INCH, target=target(), rows_nm=rows)
    assert nothing.now == (said,) and nothing.goes_in is None


def test_a_reading_between_blades_names_the_next_blade() -> None:
    between = Verdict(RECHECK, "between_blades", (), None, "", "")
    said = next_blade(between, (float(nm_from_in("0.0035")),) * 2, blade_set_of("inch"), INCH)
    assert said == "Try the 0.004: does it pass with light drag?"
    assert next_blade(Verdict(REJECT, "too_tight", (), None, "", ""), (0.0,), blade_set_of("inch"), INCH) is None


def test_no_window_is_named_before_the_initial_clearance_is_read() -> None:
    """Order of work, part 6: no LEAVE range before the initial is measured: the box is empty."""
    record = made_plan()
    done = progress(record, (), [], ())
    for strip in strips(record, done, INCH, {}):
        lines = {label: value for label, value, _ in strip.lines}
        assert lines["3 LEAVE"] == "" and lines["1 INITIAL"] == "0.0037 to 0.0047 in"
    tighten = next(each for each in done.places if each.step["id"] == "tighten")
    screen = step_screen(record, done, tighten, INCH, shaft=None)
    assert screen.number is not None and screen.number.value == "" and screen.waits


def tick(step: str, position: str | None = None) -> Entry:
    return Entry(kind="confirmation", position=position, step=step, verdict=ACCEPT, code=None, revision=1, person="A")


def holds(record: dict[str, Any]) -> list[tuple[int, str | None]]:
    return [(s["number"], p) for s in record["steps"] if s["hold"] or s["stop"] for p in s["positions"] or [None]]


def test_the_next_step_is_the_first_that_is_not_done() -> None:
    record = made_plan()
    still_open = holds(record)
    done = progress(record, (), still_open, ())
    assert done.next is not None and done.next.number == 10
    closed = [each for each in still_open if each != (10, None)]
    after = progress(record, (tick("release-drive"),), closed, ())
    assert after.next is not None and after.next.number == 30
    screen = overview(record, after, INCH, ())
    assert (screen.signed, len(screen.holds)) == (1, 11), "eleven lines to sign at most: order of work, part 2.1"


def test_a_line_without_a_tick_before_a_closed_hold_is_not_asked_for_again() -> None:
    record = made_plan()
    closed = [each for each in holds(record) if each[0] not in (10, 110)]
    done = progress(record, (), closed, ())
    assert done.next is not None and done.next.number == 120
    clear = next(each for each in done.places if each.number == 30)
    assert clear.passed and not clear.done


def test_a_hold_is_never_passed() -> None:
    record = made_plan()
    still_open = [each for each in holds(record) if each != (320, "tail")]
    done = progress(record, (), still_open, ())
    assert done.next is not None and done.next.number == 10
    assert not any(each.passed for each in done.places if each.step["hold"] is not None)


def test_a_nut_that_is_turned_on_does_not_look_like_a_stop() -> None:
    """In a hurry one sees the mark before the words: common practice, no source."""
    shown = {"id": "1", "kind": "residual_clearance", "position": "tail", "head": "", "read": "", "detail": "",
             "now": (), "taken": ""}  # fmt: skip
    loose, tight = (Result(verdict="reject", code=code, **shown) for code in ("too_loose", "too_tight"))
    assert (loose.look, tight.look) == ("recheck", "reject")
    assert "stop" not in loose.mark and 'aria-label="stop"' in tight.mark
