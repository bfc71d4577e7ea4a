"""Verdicts before they are read: a table of what the blades can show, or none at all."""

from dataclasses import replace
from typing import Any

import pytest

from service.instructions.plan.job import Job, job_from_record
from service.instructions.plan.plan import plan
from service.instructions.readings.foreseen import Foreseen, Situation, foreseen
from service.mounting.blades import BladeSet, blade_set, blade_set_of
from service.units import NM_PER_IN, nm_from_in
from tests.unit.instructions.machines import complete_fan, dryer_fan

TAIL = "tail"


def job(asset: dict[str, Any] | None = None, blades: BladeSet | None = None, **bearing: Any) -> Job:
    """The fan of an inch site."""
    made = job_from_record(
        asset or complete_fan(),
        replaced=[(TAIL, bearing or None), ("drive", None)],
        kind="replacement",
        units="inch",
        blade_set=blades or blade_set_of("inch"),
    )
    return made


def table(kind: str, made: Job) -> Foreseen | None:
    return foreseen(kind, TAIL, Situation(plan(made), made, 1, ()))


def thou(*values: float) -> tuple[int, ...]:
    return tuple(nm_from_in(value) for value in values)


def test_the_sizes_of_the_class_are_accepted_and_no_other() -> None:
    """22216 K/C3, bore 80 mm: 95 to 120 um, which ISO 5753-1 prints; inch blades in half thousandths show 0.0040 and
    0.0045 in inside (by hand: 101.6 and 114.3 um; 0.0035 in is 88.9, 0.0050 in is 127)."""
    found = table("initial_clearance", job())
    assert found is not None
    accepted = {pair for pair, each in found.pairs if each.verdict == "accept"}
    inside = thou(0.0040, 0.0045)
    assert accepted == {(one, two) for one in inside for two in inside}
    assert set(found.targets) == accepted and found.sizes_nm[0] == 0, "nothing passes is a reading too"


def test_each_accepted_pair_leaves_what_the_drawn_sheets_print() -> None:
    """The printed blade table of this bearing at an inch site: rows 0.0040 leave 0.0020 to 0.0025 in, rows 0.0040 and
    0.0045 leave 0.0025, rows 0.0045 leave 0.0025 to 0.0030 (order of work, part 6, and the drawn sheets)."""
    found = table("initial_clearance", job())
    assert found is not None
    low, high = thou(0.0040, 0.0045)

    def window(one: int, two: int) -> tuple[float, float]:
        limits = found.targets[one, two]["residual_clearance"]
        return tuple(round(limits[name].value / NM_PER_IN, 4) for name in ("min", "max"))  # type: ignore[return-value]

    assert window(low, low) == (0.0020, 0.0025)
    assert window(low, high) == window(high, low) == (0.0025, 0.0025)
    assert window(high, high) == (0.0025, 0.0030)


def test_a_residual_clearance_is_judged_only_after_its_initial_one() -> None:
    found = table("residual_clearance", job())
    assert found is not None
    assert {each.code for _, each in found.pairs} == {"initial_clearance_not_measured"}
    start = thou(0.0040, 0.0040)
    later = dict(found.after[start].pairs)  # type: ignore[index]
    assert later[thou(0.0025, 0.0025)].verdict == "accept"  # type: ignore[index]
    assert later[thou(0.0015, 0.0015)].code == "too_tight"  # type: ignore[index]
    assert later[thou(0.0040, 0.0040)].code == "nothing_taken"  # type: ignore[index]
    assert later[thou(0.0050, 0.0050)].code == "residual_over_initial"  # type: ignore[index]
    assert set(found.after) == {pair for pair in table("initial_clearance", job()).targets}  # type: ignore[union-attr]


@pytest.mark.parametrize("kind", ["shaft_diameter", "free_gap", "axial_displacement", "cap_bolt_torque"])
def test_what_blades_do_not_read_has_no_table(kind: str) -> None:
    assert table(kind, job()) is None


def test_a_ball_bearing_and_an_unknown_one_have_none() -> None:
    assert table("initial_clearance", job(dryer_fan(bearing={"designation": "2216 K/C3"}))) is None
    unknown = dryer_fan()
    for each in unknown["shafts"][0]["positions"]:
        del each["bearing"]
    assert table("initial_clearance", job(unknown)) is None


def test_a_set_that_can_show_too_many_sizes_has_none() -> None:
    """Sixty blades of a tenth of a thousandth: what is judged when it is sent need not travel."""
    fine = blade_set([(nm_from_in(round(n / 10_000, 4)), "in") for n in range(1, 61)])
    assert table("initial_clearance", job(blades=fine)) is None


def test_what_was_read_too_tight_stands_in_the_way() -> None:
    """After a reading that was too tight nothing is accepted before the bearing is freed: rule C5."""
    from service.instructions.readings.entries import Entry

    made = job()
    rows = thou(0.0040, 0.0040)
    first = Entry(kind="initial_clearance", position=TAIL, step=None, verdict="accept", code=None, revision=1,
                  made_revision=2, person="A. Fitter", rows_nm=rows)  # fmt: skip
    tight = replace(
        first, kind="residual_clearance", verdict="reject", code="too_tight", revision=2, made_revision=None
    )
    from service.mounting.readings import Measured

    measured = replace(made, measured={TAIL: Measured(tuple((nm,) for nm in rows))})
    found = foreseen("residual_clearance", TAIL, Situation(plan(measured), measured, 2, (first, tight)))
    assert found is not None
    assert dict(found.pairs)[thou(0.0025, 0.0025)].code == "initial_clearance_needed"  # type: ignore[index]
    again = dict(found.after[rows].pairs)  # type: ignore[index]
    assert again[thou(0.0025, 0.0025)].verdict == "accept", "measured anew it starts again"  # type: ignore[index]
