"""How old a bearing was at the end of a stay, and when it came under observation, in hours of operation.

From the operating hours stated, else from the meter of the asset, else from calendar time times duty; the answer says
which. Nothing is extrapolated beyond the first and the last reading of a meter.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from service.errors import CannotEvaluate
from service.history.stays import Stay
from service.words import Basis


@dataclass(frozen=True, slots=True)
class MeterReading:
    """A reading of an hour meter, [h]. ``restarts_at_h``: the meter was exchanged then, and the new one began there."""

    read_at: datetime
    value_h: float
    restarts_at_h: float | None = None


@dataclass(frozen=True, slots=True)
class Meter:
    """Hours of an asset over time, exchanges of the meter taken out."""

    times: tuple[datetime, ...]
    total_h: tuple[float, ...]

    def hours_at(self, at: datetime) -> float | None:
        """Return the running total, interpolated between readings, [h]; None outside them."""
        place = bisect_right(self.times, at)
        if place == 0 or (place == len(self.times) and at != self.times[-1]):
            return None
        if self.times[place - 1] == at:
            return self.total_h[place - 1]
        share = (at - self.times[place - 1]) / (self.times[place] - self.times[place - 1])
        return self.total_h[place - 1] + share * (self.total_h[place] - self.total_h[place - 1])

    def hours_between(self, begin: datetime, end: datetime) -> float | None:
        """Return the hours run between two times, [h]; None when a reading is missing before or after."""
        first, last = self.hours_at(begin), self.hours_at(end)
        return None if first is None or last is None else last - first


@dataclass(frozen=True, slots=True)
class Age:
    """Age at the end of observation and at its beginning, [h]; ``as_of`` is when the end was read."""

    age_h: float
    entry_h: float
    basis: Basis
    as_of: datetime


def meter(readings: Sequence[MeterReading]) -> Meter:
    """Return the meter of an asset.

    Raises
    ------
    CannotEvaluate
        A reading is lower than the one before, and no exchange was entered.
    """
    ordered = sorted(readings, key=lambda one: one.read_at)
    times: list[datetime] = []
    totals: list[float] = []
    start, total = 0.0, 0.0
    for number, reading in enumerate(ordered):
        if number == 0:
            start = reading.value_h
        if reading.value_h < start:
            raise CannotEvaluate(
                f"The reading of {reading.value_h:g} h is lower than the one before; enter the exchange of the meter.",
                code="meter_runs_back",
                field="value",
            )
        total += reading.value_h - start
        start = reading.value_h if reading.restarts_at_h is None else reading.restarts_at_h
        times.append(reading.read_at)
        totals.append(total)
    return Meter(tuple(times), tuple(totals))


def age(stay: Stay, *, now: datetime, of_asset: Meter | None = None, duty: float = 1.0) -> Age:
    """Return the age of a bearing at the end of its stay, or now.

    Parameters
    ----------
    stay : Stay
        The stay.
    now : datetime
        The time at which a running stay is looked at.
    of_asset : Meter, optional
        The hour meter of its asset.
    duty : float
        Share of calendar time that the asset runs, for want of hours and meter, [-]
    """
    carried = stay.age_at_install_h or 0.0
    end = stay.removed_at or stay.as_of or now
    begin = max(stay.observed_from, stay.installed_at) if stay.observed_from else stay.installed_at
    if stay.operating_hours is not None:
        run = (end - stay.installed_at).total_seconds()
        share = (begin - stay.installed_at).total_seconds() / run if run > 0 else 0.0
        entry = carried + max(stay.operating_hours - carried, 0.0) * share
        return Age(stay.operating_hours, entry, "operating_hours", end)
    if of_asset is not None:
        read = min(end, of_asset.times[-1]) if stay.removed_at is None and of_asset.times else end
        run_h = of_asset.hours_between(stay.installed_at, read) if read > stay.installed_at else None
        before_h = of_asset.hours_between(stay.installed_at, begin) if begin <= read else None
        if run_h is not None and before_h is not None:
            return Age(carried + run_h, carried + before_h, "meter", read)
    hours, before = (end - stay.installed_at).total_seconds() / 3600, (begin - stay.installed_at).total_seconds() / 3600
    return Age(carried + hours * duty, carried + before * duty, "calendar", end)
