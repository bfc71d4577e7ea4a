"""Three witnesses of one mounting: blades, axial displacement, nut turn. Do they agree, and is the ring home?

Method. Each witness estimates the reduction of the clearance, with a standard deviation:

- blades: initial minus residual reading. A reading x stands for the interval from x to the next attainable size, so
  the clearance is taken as uniform over it: mean x + step/2, standard deviation step/sqrt(12);
- axial displacement and nut turn: travel x (reduction / displacement of the chart for this seat). They share where
  the zero lies and how the printings spread; each has its own reading error.

The apparent reduction (what the travel shows, shared errors included) has three independent estimates: combined by
inverse variance, chi-square tests their agreement at 5 %; each witness is compared with the others without it, and
the one that lies furthest out, beyond two standard deviations while the rest agree, contradicts. Initial clearance
and reduction are then estimated together by weighted least squares, and the chance that both conditions hold,
residual not below the floor and reduction between what the window and the fit ask, is the normal integral over both.

Assumptions, ours unless a source is named: errors are independent and normal; dial indicator 0.02 mm; nut turn 5
degrees; zero on a sleeve uniform over the difference of the sleeve and shaft columns, on a journal 0.02 mm; spread
between printings as printed for this bore, or a quarter where only one is on file.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import mean, stdev
from typing import Any, Final

from service import units
from service.errors import CannotEvaluate
from service.findings import Source
from service.mounting.adjustment import (
    Interval,
    State,
    chance,
    chi_square,
    combined,
    distance,
    probability,
    state,
)
from service.mounting.blades import next_attainable
from service.mounting.taper_fit import growth_ratio, raceway_diameter
from service.mounting.target import ClearanceTarget
from service.reference import mounting_practice

BLADES: Final = "blades"
DISPLACEMENT: Final = "axial_displacement"
NUT: Final = "nut_turn"
METHOD: Final = Source("three-witnesses", "inverse-variance combination of independent readings", "calculation")
INDICATOR_NM: Final = 20_000.0
NUT_DEG: Final = 5.0
JOURNAL_ZERO_NM: Final = 20_000.0
SPREAD_WHEN_ONE_PRINTING: Final = 0.25
DISAGREE_BELOW: Final = 0.05
FAR_OUT: Final = 2.0
WORTH_TAKING: Final = 0.9


@dataclass(frozen=True, slots=True)
class Witness:
    """What one witness says the reduction is: ``reduction_nm`` and ``deviation_nm`` (own errors only), [nm]."""

    name: str
    reduction_nm: float
    deviation_nm: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """The witnesses together.

    Parameters
    ----------
    reduction_nm, reduction_deviation_nm : float
        Reduction by all witnesses and its standard deviation, [nm]
    residual_nm, residual_deviation_nm : float
        Residual clearance and its standard deviation, [nm]
    chi_square, degrees_of_freedom : float, int
        Disagreement, [-]
    probability_of_agreement : float or None
        Chance of a disagreement as large when nothing is wrong, [-]; None with one witness
    agree : bool or None
        Whether they agree at 5 %
    contradicts : str or None
        The witness that contradicts the others; None when it cannot be told which
    probability_inside : float or None
        Chance that residual and fit are both inside, [-]; None while the witnesses disagree
    worth_measuring : str or None
        The one further measurement that would narrow the reduction most (to be repeated when the witnesses
        disagree); None when none is worth taking
    """

    witnesses: tuple[Witness, ...]
    reduction_nm: float
    reduction_deviation_nm: float
    residual_nm: float
    residual_deviation_nm: float
    chi_square: float
    degrees_of_freedom: int
    probability_of_agreement: float | None
    agree: bool | None
    contradicts: str | None
    probability_inside: float | None
    worth_measuring: str | None

    def record(self) -> dict[str, Any]:
        """Return the members for the wire, quantities still unit-neutral."""
        return {
            "estimates": [
                {
                    "method": one.name,
                    "reduction": units.clearance(one.reduction_nm),
                    "standard_deviation": units.clearance(one.deviation_nm),
                }
                for one in self.witnesses
            ],
            "reduction": units.clearance(self.reduction_nm),
            "reduction_standard_deviation": units.clearance(self.reduction_deviation_nm),
            "residual_clearance": units.clearance(self.residual_nm),
            "residual_standard_deviation": units.clearance(self.residual_deviation_nm),
            "chi_square": self.chi_square,
            "degrees_of_freedom": self.degrees_of_freedom,
            "probability_of_agreement": self.probability_of_agreement,
            "agree": self.agree,
            "contradicts": self.contradicts,
            "probability_inside": self.probability_inside,
            "worth_measuring": self.worth_measuring,
            "source": METHOD.id,
        }


@dataclass(frozen=True, slots=True)
class _Travel:
    """How travel turns into reduction on this seat: ratio [-], shared zero [nm of travel], spread [-]."""

    ratio: float
    zero_deviation_nm: float
    spread: float

    def shared_variance(self, reduction_nm: float) -> float:
        """Return the variance that displacement and nut turn share, in reduction, [nm2]."""
        return (self.ratio * self.zero_deviation_nm) ** 2 + (self.spread * reduction_nm) ** 2


def agreement(
    *,
    target: ClearanceTarget,
    residual_nm: float | None = None,
    displacement_nm: float | None = None,
    nut_turn_deg: float | None = None,
    pitch_mm: float | None = None,
    needed_interference_nm: float = 0.0,
) -> Agreement:
    """Return what the witnesses say together.

    Parameters
    ----------
    target : ClearanceTarget
        The target of this bearing, with its measured initial clearance accepted
    residual_nm : float or None
        Residual reading after mounting, [nm]
    displacement_nm : float or None
        Axial displacement from firm contact, [nm]
    nut_turn_deg, pitch_mm : float or None
        Turn of the locknut from firm contact, [deg], and the pitch of its thread, [mm]
    needed_interference_nm : float
        Interference needed under load, 0 when not known, [nm]

    Raises
    ------
    CannotEvaluate
        ``witnesses_missing``: no accepted initial clearance, no reduction on file, or no reading at all.

    Source
    ------
    Weighted least squares, any textbook on adjustment of observations; method and assumptions above.
    """
    initial = _initial_interval(target)
    travel = _travel(target)
    residual = None if residual_nm is None else _interval(target, residual_nm)
    witnesses = _witnesses(initial, residual, displacement_nm, nut_turn_deg, pitch_mm, travel)
    disagreement, contradicts = _disagreement(witnesses, travel)
    likely = chance(disagreement, len(witnesses) - 1)
    agree = None if likely is None else likely >= DISAGREE_BELOW
    found = _state(initial, residual, witnesses, travel)
    further = _worth_measuring(initial, residual, witnesses, travel, pitch_mm)
    return Agreement(
        witnesses=witnesses,
        reduction_nm=found.reduction_nm,
        reduction_deviation_nm=sqrt(found.reduction_variance),
        residual_nm=found.initial_nm - found.reduction_nm,
        residual_deviation_nm=sqrt(found.residual_variance),
        chi_square=disagreement,
        degrees_of_freedom=len(witnesses) - 1,
        probability_of_agreement=likely,
        agree=agree,
        contradicts=contradicts if agree is False else None,
        probability_inside=None if agree is False else _probability_inside(target, found, needed_interference_nm),
        worth_measuring=further if agree is not False else contradicts or BLADES,
    )


def _state(initial: Interval, residual: Interval | None, witnesses: Sequence[Witness], travel: _Travel | None) -> State:
    moved = [(one.reduction_nm, one.deviation_nm**2) for one in witnesses if one.name != BLADES]
    if not moved or travel is None:
        return state(initial, residual, None)
    value, variance = combined(moved)
    return state(initial, residual, (value, variance + travel.shared_variance(value)))


def _interval(target: ClearanceTarget, reading_nm: float) -> Interval:
    following_nm = next_attainable(target.blade_set, reading_nm)
    step_nm = 0.0 if following_nm is None else following_nm - reading_nm
    return reading_nm + step_nm / 2, max(step_nm, 1.0) ** 2 / 12


def _initial_interval(target: ClearanceTarget) -> Interval:
    if target.measured is None or not target.measured.accepted or target.reduction is None:
        raise CannotEvaluate(
            "witnesses are compared on a measured and accepted initial clearance, with a reduction on file",
            code="witnesses_missing",
            field="measured_clearance",
        )
    return _interval(target, target.measured.value_nm)


def _travel(target: ClearanceTarget) -> _Travel | None:
    if target.displacement is None or target.reduction is None:
        return None
    bearing, moved = target.bearing, sum(target.displacement.limits_nm)
    roller = bearing.type == "spherical_roller"
    ratios = mounting_practice.printed_ratios(bearing.bore_mm, bearing.taper) if roller else ()
    spread = stdev(ratios) / mean(ratios) if len(ratios) > 1 else SPREAD_WHEN_ONE_PRINTING
    zero_nm = JOURNAL_ZERO_NM
    rows = mounting_practice.spherical_roller_mm if roller else mounting_practice.self_aligning_ball
    columns = rows(bearing.bore_mm)
    if target.seat != "tapered_journal" and columns is not None:
        shaft, sleeve = (columns.displacement_nm.get((bearing.taper, on_sleeve)) for on_sleeve in (False, True))
        if shaft and sleeve:
            zero_nm = max(JOURNAL_ZERO_NM, (sum(sleeve) - sum(shaft)) / 2 / sqrt(12))
    return _Travel(sum(target.reduction.limits_nm) / moved, zero_nm, spread)


def _witnesses(
    initial: Interval,
    residual: Interval | None,
    displacement_nm: float | None,
    nut_turn_deg: float | None,
    pitch_mm: float | None,
    travel: _Travel | None,
) -> tuple[Witness, ...]:
    found = []
    if residual is not None:
        found.append(Witness(BLADES, initial[0] - residual[0], sqrt(initial[1] + residual[1])))
    if displacement_nm is not None and travel is not None:
        found.append(Witness(DISPLACEMENT, displacement_nm * travel.ratio, INDICATOR_NM * travel.ratio))
    if nut_turn_deg is not None and pitch_mm is not None and travel is not None:
        per_deg_nm = pitch_mm * units.NM_PER_MM / 360 * travel.ratio
        found.append(Witness(NUT, nut_turn_deg * per_deg_nm, NUT_DEG * per_deg_nm))
    if not found:
        raise CannotEvaluate("no reading after mounting was sent", code="witnesses_missing", field="readings")
    return tuple(found)


def _disagreement(witnesses: tuple[Witness, ...], travel: _Travel | None) -> tuple[float, str | None]:
    """Return chi-square, and the witness furthest from the others when that can be told."""
    apparent = _apparent(witnesses, travel)
    if len(apparent) < 2:
        return 0.0, None
    disagreement = chi_square(list(apparent.values()))
    if len(apparent) < 3:
        return disagreement, None
    distances = {name: distance(name, apparent) for name in apparent}
    furthest = max(distances, key=lambda name: distances[name])
    rest = [estimate for name, estimate in apparent.items() if name != furthest]
    rest_agree = chi_square(rest) <= FAR_OUT**2
    return disagreement, furthest if distances[furthest] > FAR_OUT and rest_agree else None


def _apparent(witnesses: tuple[Witness, ...], travel: _Travel | None) -> Mapping[str, Interval]:
    """Return independent estimates of what the travel shows: the shared errors stand with the blades."""
    middle_nm = mean(one.reduction_nm for one in witnesses)
    shared = travel.shared_variance(middle_nm) if travel is not None else 0.0
    return {
        one.name: (one.reduction_nm, one.deviation_nm**2 + (shared if one.name == BLADES else 0.0)) for one in witnesses
    }


def _probability_inside(target: ClearanceTarget, found: State, needed_interference_nm: float) -> float:
    assert target.reduction is not None
    least_nm, most_nm = target.reduction.limits_nm
    return probability(
        found,
        least_nm=max(least_nm, _reduction_needed(target, needed_interference_nm)),
        most_nm=most_nm,
        floor_nm=target.window.floor_nm if target.window else target.reduction.smallest_residual_nm,
    )


def _reduction_needed(target: ClearanceTarget, needed_interference_nm: float) -> float:
    bearing = target.bearing
    if not needed_interference_nm or bearing.outside_diameter_mm is None:
        return needed_interference_nm * 0.70
    raceway_mm = raceway_diameter(
        bearing_type=bearing.type, bore_mm=bearing.bore_mm, outside_diameter_mm=bearing.outside_diameter_mm
    )
    return needed_interference_nm * growth_ratio(bore_mm=bearing.bore_mm, raceway_mm=raceway_mm)


def _worth_measuring(
    initial: Interval,
    residual: Interval | None,
    witnesses: tuple[Witness, ...],
    travel: _Travel | None,
    pitch_mm: float | None,
) -> str | None:
    """Return the measurement not yet taken (or the residual with half the blade step) that narrows most."""
    moved = [one for one in witnesses if one.name != BLADES]
    now = _state(initial, residual, moved, travel)
    finer = (residual[0], residual[1] / 4) if residual else (initial[0] - now.reduction_nm, initial[1])
    after = {BLADES: _state(initial, finer, moved, travel).reduction_variance}
    taken = {one.name for one in witnesses}
    if travel is not None:
        new = {DISPLACEMENT: INDICATOR_NM * travel.ratio}
        if pitch_mm is not None:
            new[NUT] = NUT_DEG * pitch_mm * units.NM_PER_MM / 360 * travel.ratio
        for name, deviation in new.items():
            if name not in taken:
                more = [*moved, Witness(name, now.reduction_nm, deviation)]
                after[name] = _state(initial, residual, more, travel).reduction_variance
    best = min(after, key=lambda name: after[name])
    return best if sqrt(after[best] / now.reduction_variance) <= WORTH_TAKING else None
