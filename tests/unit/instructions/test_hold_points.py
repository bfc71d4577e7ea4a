"""The nine holds: each is closed only by what proves it (part 2 of the order of work; common practice, no source)."""

import pytest

from service import units
from service.errors import CannotEvaluate
from service.instructions.readings.flags import flags
from service.instructions.readings.hold_points import open_hold_points, same_person
from service.instructions.readings.run_in import Pair
from service.mounting.clearance import Measured
from tests.unit.instructions.entering import GOOD_SERIES, Order, thou
from tests.unit.instructions.machines import complete_fan, plan_of

NM = units.nm_from_in
MEASURED = {name: Measured(((NM("0.0040"),), (NM("0.0040"),))) for name in ("tail", "drive")}
BOTH = {"tail", "drive"}


@pytest.fixture
def order() -> Order:
    return Order(plan_of(complete_fan(), "tail", "drive", measured=MEASURED))


def inside(order: Order, kind: str, position: str | None = None):
    """Return a value in the middle of the limits that the plan prints for a kind."""
    step = next(
        s
        for s in order.plan["steps"]
        if (s["record"] or {}).get("kind") == kind and position in (None, *s["positions"])
    )
    limits = next(each for each in step["record"]["limits"] if each["position"] in (None, position))
    low, high = limits["min"], limits["max"]
    return type(low)(low.kind, (low.value + high.value) / 2)


def mount(order: Order, position: str, by: str = "A. Fitter") -> None:
    order.read("class_read", "C3", at=position, by=by)
    order.read("initial_clearance", *thou(4, 4), at=position, by=by)
    order.read("residual_clearance", *thou(2.5, 2.5), at=position, by=by)


def do_all(order: Order) -> None:
    """Do the whole job right."""
    order.read("try_start", True)
    for position in ("drive", "tail"):
        order.read("shaft_diameter", *[inside(order, "shaft_diameter", position)] * 2, at=position)
    mount(order, "drive")
    order.read("class_read", "C3", at="tail")
    order.read("initial_clearance", *thou(4, 4), at="tail")
    order.read("free_gap_before", inside(order, "free_gap_before", "tail"), at="tail")
    order.read("residual_clearance", *thou(2.5, 2.5), at="tail")
    order.read("free_gap", inside(order, "free_gap", "tail"), at="tail")
    order.read("rings_in", "drive", by="C. Second")
    for position in BOTH:
        torque = next(each["torque"] for each in order.plan["bolting"] if each["position"] == position)
        order.read("cap_bolt_torque", torque, at=position)
    order.read("stop_limit", units.temperature(90))
    for position in BOTH:
        order.read("run_in_temperature", series=GOOD_SERIES, at=position)
    order.read("try_start", True, step="recheck")


def test_two_bearings_have_nine_holds_ten_lines_and_the_second_lock_out(order: Order) -> None:
    holds = order.holds()
    assert sorted({hold for hold, _ in holds}) == [1, 2, 3, 4, 5, 6, 7, 8, 9]
    assert [each for each in holds if each[0] == 4] == [(4, "drive"), (4, "tail")]
    assert [each for each in holds if each[0] == 1] == [(1, None), (1, None)]
    assert [number for number, _ in ((p.number, p) for p in order.open())] == sorted(p.number for p in order.open())


def test_a_job_done_right_closes_every_hold(order: Order) -> None:
    do_all(order)
    assert order.holds() == []
    assert flags(order.plan, order.entries) == []


@pytest.mark.parametrize("left_out", range(18))
def test_every_reading_of_the_job_is_needed(order: Order, left_out: int) -> None:
    do_all(order)
    entries = [each for n, each in enumerate(order.entries) if n != left_out]
    assert len(order.entries) == 18
    assert open_hold_points(order.plan, entries) != []


def test_no_tick_closes_a_hold(order: Order) -> None:
    for step in order.plan["steps"]:
        for position in step["positions"] or [None]:
            found = order.tick(step["id"], position)
            assert (found.verdict == "accept") == (step["hold"] is None and step["stop"] is None), step["id"]
    assert len(order.holds()) == len(Order(order.plan).holds())


def test_the_new_bearing_is_measured_in_both_rows_and_its_class_is_read(order: Order) -> None:
    order.read("initial_clearance", *thou(4, 4), at="tail")
    assert (3, "tail") in order.holds()
    order.read("class_read", "C3", at="tail")
    assert (3, "tail") not in order.holds()


def test_another_class_on_the_ring_stops_the_work(order: Order) -> None:
    order.read("initial_clearance", *thou(4, 4), at="tail")
    assert order.read("class_read", "CN", at="tail").code == "class_differs"
    assert (3, "tail") in order.holds()


@pytest.mark.parametrize("kind", ["initial_clearance", "residual_clearance"])
def test_one_row_of_a_two_row_bearing_closes_nothing(order: Order, kind: str) -> None:
    found = order.read(kind, *thou(4 if kind.startswith("initial") else 2.5), at="tail")
    assert (found.verdict, found.code) == ("recheck", "row_missing")


def test_rows_without_their_numbers_are_not_two_rows(order: Order) -> None:
    values = [each.quantity for each in thou(4, 4)]
    assert order.read("initial_clearance", *values, at="tail").code == "row_missing"


def test_rows_apart_are_read_once_more_and_then_judged(order: Order) -> None:
    mount(order, "tail")
    assert order.read("residual_clearance", *thou(1.5, 3), at="tail").code == "rows_differ"
    assert order.read("residual_clearance", *thou(1.5, 3), at="tail").code == "too_tight"


def test_a_residual_thicker_than_the_new_bearing_is_never_too_loose_go_on(order: Order) -> None:
    mount(order, "tail")
    assert order.read("residual_clearance", *thou(5, 5), at="tail").code == "residual_over_initial"
    assert order.read("residual_clearance", *thou(4, 4), at="tail").code == "nothing_taken"
    assert (4, "tail") in order.holds()


def test_after_too_tight_nothing_is_accepted_before_it_was_freed_and_measured_as_new(order: Order) -> None:
    mount(order, "tail")
    assert order.read("residual_clearance", *thou(1.5, 1.5), at="tail").code == "too_tight"
    assert order.read("residual_clearance", *thou(2.5, 2.5), at="tail").code == "initial_clearance_needed"
    assert {(3, "tail"), (4, "tail")} <= set(order.holds())
    order.read("initial_clearance", *thou(4, 4), at="tail")
    assert order.read("residual_clearance", *thou(2.5, 2.5), at="tail").verdict == "accept"
    assert not {(3, "tail"), (4, "tail")} & set(order.holds())


def test_starting_again_opens_every_hold_after_it(order: Order) -> None:
    do_all(order)
    order.read("residual_clearance", *thou(1.5, 1.5), at="tail")
    order.read("initial_clearance", *thou(4, 4), at="tail")
    holds = set(order.holds())
    assert {(4, "tail"), (5, "tail"), (6, None), (7, "tail"), (7, "drive"), (8, None), (9, "tail")} <= holds
    assert not {(1, None), (2, "tail"), (3, "tail"), (4, "drive")} & (holds - {(1, None)})


def test_the_last_look_is_a_second_persons_and_names_the_block(order: Order) -> None:
    order.read("free_gap", inside(order, "free_gap", "tail"), at="tail", by="A. Fitter")
    assert order.read("rings_in", "drive", by="a fitter").code == "same_person"
    assert order.read("rings_in", "tail", by="C. Second").code == "rings_wrong"
    assert order.read("rings_in", "drive", "tail", by="C. Second").code == "rings_wrong"
    assert (6, None) in order.holds()
    assert order.read("rings_in", "drive", by="C. Second").verdict == "accept"
    assert (6, None) not in order.holds()


def test_the_last_look_needs_the_gap(order: Order) -> None:
    order.read("rings_in", "drive", by="C. Second")
    assert (6, None) in order.holds()


def test_the_machine_starts_only_with_a_limit_and_ends_only_with_a_series(order: Order) -> None:
    order.read("stop_limit", units.temperature(250))
    assert (8, None) in order.holds()
    order.read("stop_limit", units.temperature(90))
    assert (8, None) not in order.holds()
    for degc in (21.1, 121.0):
        order.read("run_in_temperature", series=(Pair(0, degc),), at="tail")
        assert (9, "tail") in order.holds()
    order.read("run_in_temperature", series=GOOD_SERIES, at="tail")
    assert (9, "tail") not in order.holds()


def test_a_series_is_judged_by_the_limit_that_was_written_down(order: Order) -> None:
    order.read("stop_limit", units.temperature(50))
    assert order.read("run_in_temperature", series=GOOD_SERIES, at="tail").code == "over_stop_limit"


def test_a_run_in_without_rise_closes_by_a_second_series_and_a_second_persons_reason(order: Order) -> None:
    flat = tuple(Pair(minute, 21) for minute in (0, 15, 30, 45, 60))
    assert order.read("run_in_temperature", series=flat, at="tail").code == "no_rise"
    assert order.read("run_in_temperature", series=flat, at="tail", by="C. Second").verdict == "recheck"
    why = {"reason": "runs at a tenth of its load", "by": "D. Third"}
    found = order.read("run_in_temperature", series=flat, at="tail", **why)
    assert (found.verdict, found.code) == ("accept", "no_rise")
    assert (9, "tail") not in order.holds()


def test_a_deviation_by_another_person_closes_a_hold_and_one_by_the_reader_does_not(order: Order) -> None:
    order.read("cap_bolt_torque", units.torque(40), at="tail")
    order.deviate("cap-torque", "tail", by="A. Fitter")
    assert (7, "tail") in order.holds()
    order.deviate("cap-torque", "tail", by="B. Foreman")
    assert (7, "tail") not in order.holds()


def test_a_reading_after_a_deviation_counts_again(order: Order) -> None:
    order.deviate("cap-torque", "tail")
    order.read("cap_bolt_torque", units.torque(40), at="tail")
    assert (7, "tail") in order.holds()


def test_holds_of_what_was_not_done_are_not_asked(order: Order) -> None:
    asked = {(p.hold, p.position) for p in order.open({"tail": "replaced", "drive": "not_done"})}
    assert (4, "tail") in asked
    assert (4, "drive") not in asked
    looked = {p.hold for p in order.open({"tail": "inspected_only", "drive": "inspected_only"})}
    assert looked == {1, 6, 7, 8, 9}
    assert order.open({"tail": "not_done", "drive": "not_done"}) == []
    assert {p.hold for p in order.open(dict.fromkeys(BOTH, "refitted"))} == set(range(1, 10))


def test_what_a_hold_needs_is_said_as_data_and_in_words(order: Order) -> None:
    initial = next(point for point in order.open() if point.hold == 3)
    record = initial.record()
    assert record["needs"]["kinds"] == [["initial_clearance"], ["class_read"]]
    assert record["needs"]["limits"]["min"] == units.clearance(95_000)
    assert record["needs"]["said"] == "an accepted reading: initial clearance and class read"
    assert next(p for p in order.open() if p.hold == 6).record()["needs"]["who"] == "another_person"


class TestTakingBack:
    def test_a_slip_of_the_pen_is_taken_back_and_the_order_goes_on(self, order: Order) -> None:
        order.read("initial_clearance", *thou(14, 4), at="tail")
        order.read("class_read", "C3", at="tail")
        assert (3, "tail") in order.holds()
        found = order.read("initial_clearance", *thou(4, 4), at="tail", replaces="0", reason="typing_slip")
        assert found.verdict == "accept"
        assert (3, "tail") not in order.holds()

    def test_only_its_reader_or_the_lead_takes_a_reading_back(self, order: Order) -> None:
        order.read("initial_clearance", *thou(14, 4), at="tail")
        with pytest.raises(CannotEvaluate, match="took this reading"):
            order.read("initial_clearance", *thou(4, 4), at="tail", replaces="0", by="C. Second")
        order.read("initial_clearance", *thou(4, 4), at="tail", replaces="0", by="C. Second", lead=True)

    def test_another_kind_or_place_is_refused(self, order: Order) -> None:
        order.read("initial_clearance", *thou(14, 4), at="tail")
        with pytest.raises(CannotEvaluate, match="same kind and position"):
            order.read("residual_clearance", *thou(4, 4), at="tail", replaces="0")
        with pytest.raises(CannotEvaluate, match="same kind and position"):
            order.read("initial_clearance", *thou(4, 4), at="drive", replaces="0")
        order.read("initial_clearance", *thou(4, 4), at="drive", replaces="0", reason="wrong_position")

    def test_too_tight_is_taken_back_by_a_second_persons_measurement_only(self, order: Order) -> None:
        mount(order, "tail")
        order.read("residual_clearance", *thou(1.5, 1.5), at="tail")
        slip = str(len(order.entries) - 1)
        found = order.read("residual_clearance", *thou(2.5, 2.5), at="tail", replaces=slip, reason="typing_slip")
        assert (found.verdict, found.code) == ("recheck", "second_person_needed")
        assert (4, "tail") in order.holds()
        order.read("residual_clearance", *thou(2.5, 2.5), at="tail", by="C. Second")
        assert (4, "tail") not in order.holds()
        assert (3, "tail") not in order.holds()

    @pytest.mark.parametrize(
        ("rows", "by"), [((2, 2), "A. Fitter"), ((3.5, 3.5), "C. Second"), ((1.5, 1.5), "C. Second")]
    )
    def test_too_tight_stands_where_the_second_measurement_does_not_bear_it_out(
        self, order: Order, rows: tuple[float, float], by: str
    ) -> None:
        mount(order, "tail")
        order.read("residual_clearance", *thou(1.5, 1.5), at="tail")
        slip = str(len(order.entries) - 1)
        order.read("residual_clearance", *thou(2.5, 2.5), at="tail", replaces=slip, reason="typing_slip")
        order.read("residual_clearance", *thou(*rows), at="tail", by=by)
        order.read("residual_clearance", *thou(2.5, 2.5), at="tail")
        assert {(3, "tail"), (4, "tail")} <= set(order.holds())


class TestFlags:
    def test_holds_out_of_order_are_flagged_and_not_forbidden(self, order: Order) -> None:
        mount(order, "drive")
        order.read(
            "cap_bolt_torque", next(e["torque"] for e in order.plan["bolting"] if e["position"] == "drive"), at="drive"
        )
        order.read("residual_clearance", *thou(2.5, 2.5), at="drive")
        found = flags(order.plan, order.entries)
        assert [(each.code, each.step, each.position) for each in found] == [
            ("time_before_predecessor", "cap-torque", "drive")
        ]

    def test_holds_signed_in_one_go_are_flagged_once_for_a_person(self, order: Order) -> None:
        for position in BOTH:
            order.read("shaft_diameter", *[inside(order, "shaft_diameter", position)] * 2, at=position, minutes=0)
        order.read("try_start", True, minutes=0)
        codes = [each.code for each in flags(order.plan, order.entries)]
        assert codes.count("signed_in_one_go") == 1

    def test_a_completion_before_a_reading_is_flagged(self, order: Order) -> None:
        do_all(order)
        last = order.entries[-1].taken_at
        first = order.entries[0].taken_at
        assert flags(order.plan, order.entries, completed_at=last) == []
        early = flags(order.plan, order.entries, completed_at=first)
        assert {each.code for each in early} == {"completed_before_reading"}
        assert len(early) == len(order.entries) - 1


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [("A. Fitter", "fitter a", True), ("A. Fitter", "B. Fitter", False), ("", "A. Fitter", True), ("...", "x", True)],
)
def test_whether_two_names_are_one_person(one: str, other: str, same: bool) -> None:
    assert same_person(one, other) is same
