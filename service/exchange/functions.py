"""The functions that field maps have beyond JMESPath's own: quantity, lookup, date. The list is closed.

None of them guesses: a text without a unit, an unknown key or a time without an offset is a fault, not a value.
"""

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any, Final
from zoneinfo import ZoneInfo

from jmespath import functions

from service.units import DIMENSIONS_OF

DIRECTIVES: Final = frozenset("YmdHMSz")
"""What a pattern of ``date`` may hold after a percent sign"""
LONGEST_TEXT: Final = 200
WHICH: Final[dict[str | None, int]] = {"first": 0, "second": 1}
"""Which of two hours that a clock shows alike, as ``datetime.fold`` says it (PEP 495)"""
_NUMBER: Final = re.compile(r"[+-]?\d{1,15}(\.\d{1,15})?(e[+-]?\d{1,2})?", re.IGNORECASE).fullmatch
_MIXED: Final = re.compile(r"(?:(\d{1,6})[ -])?(\d{1,4})/(\d{1,4})").fullmatch
_AMOUNT: Final = re.compile(
    r"\s*((?:\d{1,6}[ -])?\d{1,4}/\d{1,4}|[+-]?\d[\d.,]*(?:[eE][+-]?\d{1,2})?)\s*(\S*)\s*"
).fullmatch
_OFFSET: Final = re.compile(r"([+-])(\d{2}):(\d{2})").fullmatch


class MappingFault(Exception):
    """A map that cannot be evaluated for this message, with a stable code beside the sentence."""

    def __init__(self, code: str, detail: str) -> None:
        self.code, self.detail = code, detail
        super().__init__(detail)


def shown(value: Any) -> str:
    """Return a value as it may be repeated in a message: short, on one line, in ASCII."""
    text = ascii(value)
    return text if len(text) <= 60 else text[:57] + "..."


def quantity(given: Any, unit: Any = None, decimal_mark: Any = ".") -> dict[str, Any] | None:
    """Return ``{value, unit}`` of a number with the unit named, or of a text such as "2 11/16 in"; null of null.

    Raises
    ------
    MappingFault
        ``no_unit``, ``unknown_unit``, ``unit_differs``: nothing is guessed; ``bad_number``: a text that is no number,
        or a mark in it that may be a decimal mark or not.
    """
    if given is None:
        return None
    if decimal_mark not in (".", ","):
        raise MappingFault("bad_argument", "the decimal mark is '.' or ','")
    number, written_unit = _amount(given, decimal_mark)
    if unit is not None and written_unit and written_unit != unit:
        raise MappingFault("unit_differs", f"{shown(given)} carries {shown(written_unit)}, the map says {shown(unit)}")
    named = unit if unit is not None else written_unit
    if not named:
        raise MappingFault("no_unit", f"{shown(given)} has no unit; name it: quantity(value, 'mm')")
    if not isinstance(named, str) or named not in DIMENSIONS_OF:
        raise MappingFault("unknown_unit", f"{shown(named)} is not a unit we know")
    return {"value": number, "unit": named}


def _amount(given: Any, decimal_mark: str) -> tuple[int | float, str]:
    """Return number and unit as they were written; the unit empty when there is none."""
    if isinstance(given, int | float) and not isinstance(given, bool):
        return given, ""
    match = _AMOUNT(given) if isinstance(given, str) and len(given) <= LONGEST_TEXT else None
    if match is None:
        raise MappingFault("bad_number", f"{shown(given)} is not a number with its unit")
    return _number(match[1], decimal_mark), match[2]


def _number(text: str, decimal_mark: str) -> int | float:
    mixed = _MIXED(text)
    if mixed is not None:
        whole, above, below = int(mixed[1] or 0), int(mixed[2]), int(mixed[3])
        if below == 0 or above >= below:
            raise MappingFault("bad_number", f"{shown(text)} is not a proper fraction")
        return float(Fraction(whole * below + above, below))
    other = "," if decimal_mark == "." else "."
    if other in text:
        raise MappingFault(
            "bad_number",
            f"{shown(text)}: {other!r} may be a decimal mark or not; quantity(value, unit, '{other}') says so",
        )
    plain = text.replace(decimal_mark, ".")
    if not _NUMBER(plain):
        raise MappingFault("bad_number", f"{shown(text)} is not a number")
    return float(plain) if any(sign in plain for sign in ".eE") else int(plain)


def date(given: Any, zone: Any = None, pattern: Any = None, which: Any = None) -> str | None:
    """Return an RFC 3339 time of a text; null of null.

    A time without an offset needs ``zone``: a name of the IANA database or "+02:00". An hour that a clock passes
    twice needs ``which``: "first" or "second". A pattern is written with %Y %m %d %H %M %S %z.

    Raises
    ------
    MappingFault
        ``bad_time``, ``ambiguous_time``, ``time_without_offset``, ``unknown_zone``, ``bad_argument``
    """
    if given is None:
        return None
    if which is not None and which not in WHICH:
        raise MappingFault("bad_argument", "which of two hours is 'first' or 'second'")
    if not isinstance(given, str) or len(given) > 40:
        raise MappingFault("bad_time", f"{shown(given)} is not a text with a time")
    try:
        time = datetime.fromisoformat(given.strip()) if pattern is None else _by_pattern(given.strip(), pattern)
        if time.tzinfo is None:
            time = _in_zone(time, zone, which)
        return time.isoformat()
    except (ValueError, OverflowError):
        raise MappingFault("bad_time", f"{shown(given)} is not a time" + _as_pattern(pattern)) from None


def _as_pattern(pattern: Any) -> str:
    return " such as 2026-01-07T06:30:00Z" if pattern is None else f" like {shown(pattern)}"


def _by_pattern(text: str, pattern: Any) -> datetime:
    if not isinstance(pattern, str) or len(pattern) > 60:
        raise MappingFault("bad_argument", "the pattern of a date is a text")
    used = pattern.replace("%%", "").split("%")[1:]
    if any(each[:1] not in DIRECTIVES for each in used):
        raise MappingFault("bad_argument", f"a pattern is written with %{' %'.join(sorted(DIRECTIVES))}")
    return datetime.strptime(text, pattern)  # noqa: DTZ007 (a zone is asked for afterwards)


def _in_zone(time: datetime, zone: Any, which: str | None) -> datetime:
    if zone is None:
        raise MappingFault("time_without_offset", "the time lacks its offset from UTC; name the zone: date(text, zone)")
    if not isinstance(zone, str):
        raise MappingFault("unknown_zone", f"{shown(zone)} is not the name of a time zone")
    offset = _OFFSET(zone)
    if offset is not None:
        minutes = int(offset[2]) * 60 + int(offset[3])
        shift = timedelta(minutes=minutes if offset[1] == "+" else -minutes)
        return (time - shift).replace(tzinfo=UTC)
    try:
        placed = time.replace(tzinfo=ZoneInfo(zone), fold=WHICH.get(which, 0))
    except (KeyError, ValueError, OSError):
        raise MappingFault("unknown_zone", f"{shown(zone)} is not the name of a time zone") from None
    utc = placed.astimezone(UTC)
    if utc.astimezone(placed.tzinfo).replace(tzinfo=None) != time:
        raise MappingFault("bad_time", f"no clock in {zone} shows {time.isoformat()}")
    if which is None and placed.utcoffset() != placed.replace(fold=1).utcoffset():
        said = f"clocks in {zone} show {time.isoformat()} twice; say which: date(text, zone, pattern, 'first')"
        raise MappingFault("ambiguous_time", said)
    return utc


class MapFunctions(functions.Functions):  # type: ignore[misc]
    """JMESPath's functions and ours."""

    def __init__(self, tables: dict[str, dict[str, Any]], measured: Callable[[Any], int]) -> None:
        self._tables, self._measured = tables, measured

    def call_function(self, function_name: str, resolved_args: list[Any]) -> Any:
        """Call a function; what a join would make is measured before it is made."""
        if function_name == "join" and len(resolved_args) == 2:
            glue, parts = resolved_args
            if isinstance(glue, str) and isinstance(parts, list):
                self._measured(" " * min(len(glue) * len(parts), 1_000_000))
        return super().call_function(function_name, resolved_args)

    @functions.signature({"types": [], "variadic": True})  # type: ignore[untyped-decorator]
    def _func_quantity(self, *given: Any) -> Any:
        _count("quantity", given, 1, 3)
        return quantity(*given)

    @functions.signature({"types": [], "variadic": True})  # type: ignore[untyped-decorator]
    def _func_date(self, *given: Any) -> Any:
        _count("date", given, 1, 4)
        return date(*given)

    @functions.signature({"types": [], "variadic": True})  # type: ignore[untyped-decorator]
    def _func_lookup(self, *given: Any) -> Any:
        _count("lookup", given, 2, 3)
        table, key = given[0], given[1]
        if not isinstance(table, str) or table not in self._tables:
            raise MappingFault("bad_argument", f"the map has no table {shown(table)}")
        if key is None:
            return None
        if not isinstance(key, str):
            raise MappingFault("unknown_key", f"{shown(key)} is not a text; keys of a table are texts")
        if key in self._tables[table]:
            return self._tables[table][key]
        if len(given) == 3:
            return given[2]
        raise MappingFault("unknown_key", f"the table {table} has no entry for {shown(key)}")


def _count(name: str, given: tuple[Any, ...], least: int, most: int) -> None:
    if not least <= len(given) <= most:
        raise MappingFault("bad_argument", f"{name} takes {least} to {most} arguments, not {len(given)}")
