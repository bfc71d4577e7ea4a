"""Whether a run-in shows a bearing that settles: a series of temperatures, judged (rule I9).

Order of the tests: stop limit, series, steady, rise. One temperature alone closes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from service import units
from service.errors import CannotEvaluate, Text
from service.mounting.readings import ACCEPT, RECHECK, REJECT, Verdict
from service.units import Quantity

DEFAULT_STOP_DEGC: Final = 100.0
DEFAULT_WARN_DEGC: Final = 88.0
"""Where a site has no limit of its own: printed limits differ (90, 100 and 121 degC); none is common."""
STOP_RANGE_DEGC: Final = (40.0, 150.0)
READING_MOST_DEGC: Final = 200.0
LEAST_READINGS: Final = 5
FIRST_WITHIN_MIN: Final = 5
FIRST_HOUR_MIN: Final = 60
GAP_FIRST_HOUR_MIN: Final = 20
GAP_LATER_MIN: Final = 35
STEADY_WINDOW_MIN: Final = 65
STEADY_READINGS: Final = 3
STEADY_SPREAD_MIN: Final = 45
STEADY_BAND_K: Final = {"metric": 2.0, "inch": 4.0 * 5 / 9}
"""IEC 60034-1:2010, thermal equilibrium: 2 K an hour; a site that reads degF is judged at 4 degF, as printed."""
LONG_MIN: Final = 240
NEVER_MIN: Final = 360
"""Stop if not steady in 4 to 6 hours: a trade article."""
RISE_LEAST_K: Final = 3.0
RISE_MOST_K: Final = 50.0
"""Usual rise 10 to 50 K: four publications; the least rise is our own convention."""
HOUSINGS_APART_K: Final = 15.0
"""Two housings further apart are said: own convention."""

STOP_THE_MACHINE: Final = "Stop the machine, isolate it and look: grease, clearance, free bearing, seals."


@dataclass(frozen=True, slots=True)
class Pair:
    """One reading of a series: minutes after the start, [min], and the temperature of the housing, [degC]."""

    minute: float
    temperature_degc: float


def stop_limit_verdict(limit_degc: float) -> Verdict:
    """Return the verdict on a stop limit that somebody writes down before the start.

    Parameters
    ----------
    limit_degc : float
        The limit, [degC]
    """
    low, high = STOP_RANGE_DEGC
    if low <= limit_degc <= high:
        return Verdict(ACCEPT, None, (), None, "The stop limit is written down.", "Start as the site rules say.")
    said: Text = (
        "A stop limit of ",
        _degc(limit_degc),
        " is not plausible; limits lie between ",
        _degc(low),
        " and ",
        _degc(high),
        ".",
    )
    return Verdict(REJECT, "implausible", (), None, said, "Write the limit of this asset, with its unit.")


def series_verdict(series: Sequence[Pair], *, stop_degc: float, system: str) -> Verdict:
    """Return the verdict on the run-in of one housing.

    Parameters
    ----------
    series : sequence of Pair, shape (n,)
        As read, in the order of time
    stop_degc : float
        At this temperature the machine is stopped, [degC]
    system : str
        ``metric`` or ``inch``: what the site reads, for the width of the steady band

    Raises
    ------
    CannotEvaluate
        ``series_not_in_order``: two readings at one minute, or one before the other.

    Source
    ------
    IEC 60034-1:2010 (thermal equilibrium, 2 K an hour) for steady; a start-up peak is usual (bearing catalogues).
    """
    for before, after in pairwise(series):
        if after.minute <= before.minute:
            said = (
                f"minute {after.minute:g} stands after minute {before.minute:g}; send the series in the order of time"
            )
            raise CannotEvaluate(said, code="series_not_in_order", field="series")
    hottest = max(series, key=lambda pair: pair.temperature_degc, default=None)
    if hottest is not None and hottest.temperature_degc >= stop_degc:
        said_hot: Text = (
            _degc(hottest.temperature_degc),
            f" after {hottest.minute:g} minutes; stop limit ",
            _degc(stop_degc),
        )
        return Verdict(REJECT, "over_stop_limit", (), None, said_hot, STOP_THE_MACHINE)
    return _incomplete(series) or _unsteady(series, system) or _rise(series)


def _incomplete(series: Sequence[Pair]) -> Verdict | None:
    """Return what the series lacks, None when it is whole."""
    if len(series) < LEAST_READINGS:
        said = f"{len(series)} readings; at least {LEAST_READINGS} of time and temperature are needed."
        following = "Read at the start, every 15 minutes for an hour, then every 30, and send the whole series."
        return Verdict(RECHECK, "series_missing", (), None, said, following)
    gaps = [(0.0, series[0].minute)] if series[0].minute > FIRST_WITHIN_MIN else []
    for before, after in pairwise(series):
        most = GAP_FIRST_HOUR_MIN if before.minute < FIRST_HOUR_MIN else GAP_LATER_MIN
        if after.minute - before.minute > most:
            gaps.append((before.minute, after.minute))
    if not gaps:
        return None
    first, last = gaps[0]
    said = f"Nothing was read between minute {first:g} and minute {last:g}."
    return Verdict(RECHECK, "series_has_gaps", (), None, said, "Go on reading until it has been steady for an hour.")


def _unsteady(series: Sequence[Pair], system: str) -> Verdict | None:
    """Return recheck or reject while the last hour still moves, None when it is steady."""
    last = series[-1].minute
    hour = [pair for pair in series if pair.minute >= last - STEADY_WINDOW_MIN]
    spread_min = hour[-1].minute - hour[0].minute
    temperatures = [pair.temperature_degc for pair in hour]
    band_k = max(temperatures) - min(temperatures)
    read_enough = len(hour) >= STEADY_READINGS and spread_min >= STEADY_SPREAD_MIN
    if read_enough and round(band_k - STEADY_BAND_K[system], 6) <= 0:
        return None
    moved: Text = ("It moved by ", _kelvin(band_k), f" over the last {spread_min:g} minutes.")
    if last >= NEVER_MIN:
        return Verdict(REJECT, "not_steady", (), None, (*moved, " It has not settled in six hours."), STOP_THE_MACHINE)
    longer = " Longer than usual: listen, look at the grease." if last >= LONG_MIN else ""
    return Verdict(RECHECK, "not_steady_yet", (), None, moved, f"Go on reading every 30 minutes.{longer}")


def _rise(series: Sequence[Pair]) -> Verdict:
    """Return the verdict on a steady series by how far it rose."""
    rise_k = max(pair.temperature_degc for pair in series) - series[0].temperature_degc
    if rise_k < RISE_LEAST_K:
        said: Text = ("It rose by ", _kelvin(rise_k), " only.")
        return Verdict(
            RECHECK, "no_rise", (), None, said, "Did it run under load, and where was the probe? Read again."
        )
    if rise_k > RISE_MOST_K:
        said = ("It rose by ", _kelvin(rise_k), "; usual is 10 to 50 K.")
        following = "Look at the grease, the load and the clearance; a second person says why it may run so."
        return Verdict(RECHECK, "high_rise", (), None, said, following)
    settled: Text = ("Steady after a rise of ", _kelvin(rise_k), ".")
    return Verdict(ACCEPT, None, (), None, settled, "Take vibration and sound as the baseline.")


def housings_apart(series_by_position: Sequence[Sequence[Pair]]) -> bool:
    """Return whether two housings end further apart than is usual, [-]."""
    ends = [series[-1].temperature_degc for series in series_by_position if series]
    return len(ends) > 1 and max(ends) - min(ends) > HOUSINGS_APART_K


def _degc(value: float) -> Quantity:
    return units.temperature(value)


def _kelvin(value: float) -> Quantity:
    return Quantity("temperature_difference", round(value, 6))
