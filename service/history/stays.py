"""A stay: one bearing in one position, from fitting to removal; flat, as on the wire; and its faults."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Final, Literal

from service.errors import CannotEvaluate
from service.history.damage import damage_codes
from service.words import END_TYPES

SLACK: Final = timedelta(days=1)  # by which clocks and time zones may mislead a count of hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """One bearing in one position; hours in [h], clearances and diameters in [nm], times aware.

    ``operating_hours`` is the age of the bearing at removal, or at ``as_of`` while it runs, the age at fitting
    included; it overrides meters.
    """

    position: str
    designation: str
    installed_at: datetime
    end_type: str
    asset: str = ""
    external_id: str | None = None
    manufacturer: str | None = None
    serial: str | None = None
    removed_at: datetime | None = None
    operating_hours: float | None = None
    as_of: datetime | None = None
    age_at_install_h: float | None = None
    observed_from: datetime | None = None
    inspected: bool | None = None
    damage: str | None = None
    cause: str | None = None
    initial_clearance_nm: int | None = None
    residual_clearance_nm: int | None = None
    window_min_nm: int | None = None
    window_max_nm: int | None = None
    downtime_h: float | None = None
    work_order: str | None = None
    installed_by: str | None = None
    shaft_diameter_nm: int | None = None
    shaft_min_nm: int | None = None
    shaft_max_nm: int | None = None

    @property
    def place(self) -> tuple[str, str]:
        """Return the asset and the position."""
        return self.asset, self.position


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong in a stay. ``stay`` is its place in the sequence; a note can be stored all the same.

    ``against`` is the place of the other stay where two do not go together.
    """

    stay: int
    field: str
    code: str
    detail: str
    severity: Literal["error", "note"] = "error"
    against: int | None = None

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "row": self.stay,
            "column": self.field,
            "code": self.code,
            "message": self.detail,
            "severity": self.severity,
        }


def faults(stays: Sequence[Stay], *, now: datetime) -> list[Fault]:
    """Return everything that is wrong in stays, each alone and all together, in the order of the stays."""
    found = [fault for number, stay in enumerate(stays) for fault in _faults_of_one(number, stay, now)]
    usable = [n for n, stay in enumerate(stays) if not _naive(stay) and _closed_in_order(stay)]
    found += _faults_of_positions(stays, usable)
    found += _faults_of_serials(stays, usable)
    return sorted(found, key=lambda fault: fault.stay)


def _faults_of_one(number: int, stay: Stay, now: datetime) -> Iterator[Fault]:
    naive = _naive(stay)
    for field in naive:
        yield Fault(number, field, "offset_missing", f"{field} needs an offset from UTC")
    if not naive:
        yield from _faults_of_times(number, stay, now)
    if stay.end_type not in END_TYPES:
        yield Fault(number, "end_type", "unknown_end_type", f"{stay.end_type!r} is not one of {', '.join(END_TYPES)}")
    elif (stay.removed_at is None) != (stay.end_type == "running"):
        said = "a running stay has no removal" if stay.removed_at else f"{stay.end_type} needs removed_at"
        yield Fault(number, "removed_at", "end_type_differs", said)
    for field in ("operating_hours", "age_at_install_h", "downtime_h"):
        hours = getattr(stay, field)
        if hours is not None and not 0 <= hours < 1e9:
            yield Fault(number, field, "hours_out_of_range", f"{field} must be zero or more")
    if stay.damage:
        try:
            damage_codes(stay.damage)
        except CannotEvaluate as unknown:
            yield Fault(number, "damage", unknown.code, str(unknown))
    low, high = stay.window_min_nm, stay.window_max_nm
    if low is not None and high is not None and low > high:
        yield Fault(number, "window_min_mm", "window_reversed", "the window's minimum lies above its maximum")
    least, most = stay.shaft_min_nm, stay.shaft_max_nm
    if least is not None and most is not None and least > most:
        said = "the smallest diameter of the shaft lies above its largest"
        yield Fault(number, "shaft_min_mm", "limits_reversed", said)


def _faults_of_times(number: int, stay: Stay, now: datetime) -> Iterator[Fault]:
    for field in ("installed_at", "removed_at", "as_of"):
        at = getattr(stay, field)
        if at is not None and at > now + SLACK:
            yield Fault(number, field, "in_the_future", f"{field} lies in the future")
    end = stay.removed_at or stay.as_of
    if stay.removed_at is not None and stay.removed_at <= stay.installed_at:
        yield Fault(number, "removed_at", "removed_before_installed", "the removal must come after the installation")
    if stay.observed_from is not None and end is not None and stay.observed_from >= end:
        yield Fault(number, "observed_from", "observed_after_end", "observation begins after the stay ended")
    if stay.operating_hours is None:
        return
    carried = stay.age_at_install_h or 0.0
    if 0 <= stay.operating_hours < carried:
        said = "operating_hours is the whole age and includes age_at_install_h"
        yield Fault(number, "operating_hours", "younger_than_at_install", said)
    elapsed = (end or now) - stay.installed_at + SLACK
    if stay.operating_hours - carried > max(elapsed.total_seconds(), 0) / 3600:
        said = "more operating hours than the calendar has between installation and end"
        yield Fault(number, "operating_hours", "more_hours_than_calendar", said)


def _faults_of_positions(stays: Sequence[Stay], usable: Iterable[int]) -> Iterator[Fault]:
    by_place: dict[tuple[str, str], list[int]] = {}
    for number in usable:
        by_place.setdefault(stays[number].place, []).append(number)
    for numbers in by_place.values():
        numbers.sort(key=lambda one: stays[one].installed_at)
        for before, after in pairwise(numbers):
            end = stays[before].removed_at
            if end is None or end > stays[after].installed_at:
                said = f"overlaps {_name(stays, before)} of the same position"
                yield Fault(after, "installed_at", "stays_overlap", said, against=before)
            elif stays[after].installed_at - end > SLACK:
                days = (stays[after].installed_at - end).days
                said = f"the position has no bearing on record for {days} days before"
                yield Fault(after, "installed_at", "gap_before", said, "note")


def _faults_of_serials(stays: Sequence[Stay], usable: Iterable[int]) -> Iterator[Fault]:
    by_serial: dict[tuple[str | None, str], list[int]] = {}
    for number in usable:
        serial = stays[number].serial
        if serial:
            by_serial.setdefault((stays[number].manufacturer, serial), []).append(number)
    for numbers in by_serial.values():
        numbers.sort(key=lambda one: stays[one].installed_at)
        for before, after in pairwise(numbers):
            end = stays[before].removed_at
            if stays[before].place != stays[after].place and (end is None or end > stays[after].installed_at):
                said = f"the same serial number is in another position at that time ({_name(stays, before)})"
                yield Fault(after, "serial", "serial_in_two_positions", said, against=before)


def _name(stays: Sequence[Stay], number: int) -> str:
    return f"stay {stays[number].external_id or number}"


def _naive(stay: Stay) -> list[str]:
    fields = ("installed_at", "removed_at", "as_of", "observed_from")
    return [field for field in fields if (at := getattr(stay, field)) is not None and at.utcoffset() is None]


def _closed_in_order(stay: Stay) -> bool:
    return stay.removed_at is None or stay.removed_at > stay.installed_at
