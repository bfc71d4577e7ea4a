"""Whether a run-in shows a bearing that settles: a series of temperatures, judged (rule I9).

Order of the tests: stop limit, series, steady, rise. One temperature alone closes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from service import units
from service.errors import CannotEvaluate, Text
from service.instructions.readings.messages import message, verdict
from service.mounting.readings import ACCEPT, RECHECK, REJECT, Verdict
from service.units import Quantity

DEFAULT_STOP_DEGC: Final = 100.0
DEFAULT_WARN_DEGC: Final = 88.0
"""Where a site has no limit of its own: printed limits differ (90, 100 and 121 degC); none is common."""
STOP_RANGE_DEGC: Final = (40.0, 150.0)
PRINTED_MOST_DEGC: Final = 121.0
"""The highest limit that a catalogue prints: where the site has none, a higher one is asked about."""
COLDER_THAN_ROOM_K: Final = 10.0
"""How far below the room a housing may be read before a slip of the unit is suspected: own convention."""
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

COLDER: Final = "colder_than_room"
EXPLAINED: Final = ("no_rise", "high_rise", COLDER)
"""What a second series and a second person's reason let pass."""
STOP_THE_MACHINE: Final = "Stop the machine, isolate it and look: grease, clearance, free bearing, seals."


@dataclass(frozen=True, slots=True)
class Pair:
    """One reading of a series: minutes after the start, [min], and the temperature of the housing, [degC]."""

    minute: float
    temperature_degc: float


def stop_limit_verdict(limit_degc: float, *, site_degc: float | None = None) -> Verdict:
    """Return the verdict on a stop limit that somebody writes down before the start.

    Parameters
    ----------
    limit_degc : float
        The limit, [degC]
    site_degc : float or None
        The limit that the site has on record for this machine, [degC]; None where it has none

    Source
    ------
    Printed limits lie between 90 and 121 degC; a lower one than the site's is always taken.
    """
    low, high = STOP_RANGE_DEGC
    if low <= limit_degc <= high:
        if site_degc is not None and round(limit_degc - site_degc, 6) > 0:
            facts = {"read": _limit(limit_degc), "site": _limit(site_degc)}
            return verdict(REJECT, "over_site_limit", "over_site_limit", **facts)
        if site_degc is None and limit_degc > PRINTED_MOST_DEGC:
            facts = {"read": _limit(limit_degc), "most": _limit(PRINTED_MOST_DEGC)}
            return verdict(REJECT, "over_printed_limits", "over_printed_limits", **facts)
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


def series_verdict(series: Sequence[Pair], *, stop_degc: float, system: str, room_degc: float | None = None) -> Verdict:
    """Return the verdict on the run-in of one housing.

    Parameters
    ----------
    series : sequence of Pair, shape (n,)
        As read, in the order of time
    stop_degc : float
        At this temperature the machine is stopped, [degC]
    system : str
        ``metric`` or ``inch``: what the site reads, for the width of the steady band
    room_degc : float or None
        How warm it is where the machine stands, [degC]: a housing that stays colder was read in another unit

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
    return _in_another_unit(series, room_degc) or _incomplete(series) or _unsteady(series, system) or _rise(series)


def _in_another_unit(series: Sequence[Pair], room_degc: float | None) -> Verdict | None:
    """Return the suspicion that degC were sent as degF: no housing is that much colder than its room."""
    coldest = min((pair.temperature_degc for pair in series), default=None)
    if coldest is None or room_degc is None or coldest >= room_degc - COLDER_THAN_ROOM_K:
        return None
    meant = units.temperature(round(coldest * 9 / 5 + 32, 6))
    facts = {"read": units.temperature(coldest), "room": units.temperature(room_degc), "fits": meant}
    return Verdict(
        RECHECK, COLDER, (meant,), None, message("colder_than_room", **facts), message("colder_than_room", "next")
    )


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


def housings_apart(ends_degc: Sequence[float]) -> bool:
    """Return whether two housings end further apart than is usual, [-]; by the last temperature of each, [degC]."""
    return len(ends_degc) > 1 and max(ends_degc) - min(ends_degc) > HOUSINGS_APART_K


def _limit(value_degc: float) -> Quantity:
    return units.temperature_limit(value_degc)


def _degc(value: float) -> Quantity:
    return units.temperature(value)


def _kelvin(value: float) -> Quantity:
    return Quantity("temperature_difference", round(value, 6))
