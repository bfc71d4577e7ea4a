"""Reading the values of stays that are sent: a function for each column, and the faults row by row."""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, Final

from service.errors import CannotEvaluate, shown
from service.history.damage import damage_codes
from service.history.stays import Stay
from service.instructions.plan.machine import normalised_bearing
from service.moments import NotAMoment, moment_in_zone
from service.spreadsheet import unguarded
from service.store.identity import canonical_id
from service.units import nm_from_mm
from service.use_cases.stays.lines import CLEARANCES, DIAMETERS, LENGTHS, TIMES
from service.use_cases.stays.sources import COLUMNS, REQUIRED, Sent
from service.words import END_TYPES

HOURS: Final = ("operating_hours", "age_at_install_h", "downtime_h")
LONGEST: Final = {"asset": 80, "position": 80, "designation": 80, "manufacturer": 120, "serial": 120, "cause": 500,
                  "external_id": 200, "work_order": 200, "installed_by": 80}  # fmt: skip
MOST_CLEARANCE_MM: Final = 25.0
MOST_DIAMETER_MM: Final = 2500.0
_NUMBER: Final = re.compile(r"\d{1,15}(\.\d{1,15})?").fullmatch
Parser = Callable[[Any], Any]


class CellRefused(Exception):
    """A value that cannot be read."""

    def __init__(self, code: str, detail: str) -> None:
        self.code, self.detail = code, detail
        super().__init__(detail)


@dataclass(frozen=True, slots=True)
class RowFault:
    """What is wrong in a row, counted from 1; ``value`` as it was sent."""

    row: int
    column: str
    value: Any
    code: str
    message: str

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        value = self.value if isinstance(self.value, str | int | float | bool | None) else shown(self.value)
        if isinstance(value, str):
            value = value[:200]
        return {
            "row": self.row,
            "column": self.column,
            "value": value,
            "code": self.code,
            "message": self.message,
        }


def read_stays(sent: Sent, zone: tzinfo | None) -> tuple[list[Stay], list[str | None], list[RowFault]]:
    """Return the stays, the ids that came along, and what could not be read; stays only when everything could.

    Parameters
    ----------
    zone : tzinfo or None
        The site's time zone, for times that state no offset.
    """
    faults: list[RowFault] = []
    parsers = _parsers(sent, zone)
    nothing: list[Any] = [None] * sent.rows
    columns: dict[str, list[Any]] = {
        name: _read(name, sent.columns[name], parsers[name], faults) if name in sent.columns else nothing
        for name in COLUMNS
    }
    for name in REQUIRED:
        column = columns[name]
        refused = {fault.row for fault in faults if fault.column == name}
        for row, value in enumerate(column, start=1):
            if value is None and row not in refused:
                faults.append(RowFault(row, name, None, "required", f"{name} is needed"))
    faults += _without_identity(columns["external_id"], columns["id"])
    if faults:
        return [], [], sorted(faults, key=lambda fault: fault.row)
    ids = columns.pop("id")
    names = [f"{name[:-3]}_nm" if name in LENGTHS else name for name in columns]
    stays = [Stay(**dict(zip(names, values, strict=True))) for values in zip(*columns.values(), strict=True)]
    return stays, ids, []


def _without_identity(external_ids: list[str | None], ids: list[str | None]) -> list[RowFault]:
    """Return the rows that no later import could know again, and those that stand twice."""
    faults, seen = [], set()
    for row, (external_id, stay_id) in enumerate(zip(external_ids, ids, strict=True), start=1):
        identity = external_id or stay_id
        if identity is None:
            said = "external_id is needed: it is how the stay is known again when the file comes twice"
            faults.append(RowFault(row, "external_id", None, "required", said))
        elif identity in seen:
            faults.append(RowFault(row, "external_id", identity, "stands_twice", "stands in an earlier row too"))
        seen.add(identity)
    return faults


def _read(name: str, values: list[Any], parse: Parser, faults: list[RowFault]) -> list[Any]:
    """Return a column as read; texts that come again are read once."""
    known: dict[str, Any] = {"": None}
    found: list[Any] = []
    for row, value in enumerate(values, start=1):
        if type(value) is str and value in known:
            found.append(known[value])
            continue
        try:
            read = None if value is None else parse(value)
        except CellRefused as refused:
            faults.append(RowFault(row, name, value, refused.code, refused.detail))
            found.append(None)
            continue
        if type(value) is str:
            known[value] = read
        found.append(read)
    return found


def _parsers(sent: Sent, zone: tzinfo | None) -> Mapping[str, Parser]:
    hours = _number_in_words(sent.decimal_comma) if sent.words else _hours
    parsers: dict[str, Parser] = {name: _text(longest, sent.words) for name, longest in LONGEST.items()}
    parsers["designation"] = _designation(parsers["designation"])
    parsers |= dict.fromkeys((name for name in TIMES if name in COLUMNS), _time(zone))
    parsers |= dict.fromkeys(HOURS, (lambda value: float(hours(value))) if sent.words else hours)
    parsers |= dict.fromkeys(CLEARANCES, _length(hours, MOST_CLEARANCE_MM, "clearance"))
    parsers |= dict.fromkeys(DIAMETERS, _length(hours, MOST_DIAMETER_MM, "diameter of a shaft"))
    parsers |= {"id": _identifier, "end_type": _end_type, "damage": _damage}
    parsers["inspected"] = _flag_in_words if sent.words else _flag
    return parsers


def _text(longest: int, words: bool) -> Parser:
    def read(value: Any) -> str | None:
        if not isinstance(value, str):
            raise CellRefused("wrong_type", f"{shown(value)} is not a text")
        text = unguarded(value) if words else value
        if not (text.isascii() and text.isprintable()):
            if any(unicodedata.category(c) in ("Cc", "Cs") for c in text):
                raise CellRefused("bad_character", "control characters and lone surrogates are refused")
            text = unicodedata.normalize("NFC", text)
        text = text.strip()
        if len(text) > longest:
            raise CellRefused("wrong_length", f"{len(text)} characters; at most {longest} are taken")
        return text or None

    return read


def _designation(text: Parser) -> Parser:
    """Return the reader of a designation: as we write it where we can read it, else as it was sent."""

    def read(value: Any) -> Any:
        written = text(value)
        if written is None:
            return None
        try:
            return normalised_bearing({"designation": written}, "designation")["designation"]
        except CannotEvaluate:
            return written

    return read


def _time(zone: tzinfo | None) -> Parser:
    def read(value: Any) -> datetime:
        try:
            return moment_in_zone(value, zone)
        except NotAMoment as refused:
            raise CellRefused(refused.code, f"{shown(value)} {refused.said}") from None

    return read


def _number_in_words(decimal_comma: bool) -> Parser:
    def read(value: str) -> str:
        text = value.strip()
        text = text.replace(",", ".") if decimal_comma else text
        if not _NUMBER(text):
            raise CellRefused("wrong_type", f"{shown(value)} is not a number such as 0.065, zero or more")
        return text

    return read


def _hours(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e15:
        raise CellRefused("wrong_type", f"{shown(value)} is not a number, zero or more")
    return float(value)


def _length(number: Parser, most_mm: float, what: str) -> Parser:
    def read(value: Any) -> int:
        millimetres = number(value)
        try:
            length_nm = nm_from_mm(millimetres)
        except ValueError:
            raise CellRefused("out_of_range", f"{shown(value)} mm is finer than a nanometre") from None
        if length_nm > most_mm * 1e6:
            said = f"{shown(value)} mm is no {what}: at most {most_mm:g} are taken; the column is in millimetres"
            raise CellRefused("out_of_range", said)
        return length_nm

    return read


def _end_type(value: Any) -> str:
    word = value.strip() if isinstance(value, str) else value
    if word not in END_TYPES:
        raise CellRefused("unknown_end_type", f"{shown(value)} is not one of {', '.join(END_TYPES)}")
    return str(word)


def _damage(value: Any) -> str | None:
    if not isinstance(value, str):
        raise CellRefused("wrong_type", f"{shown(value)} is not a text")
    try:
        return "|".join(damage_codes(value)) or None
    except CannotEvaluate as unknown:
        raise CellRefused(unknown.code, str(unknown)) from None


def _flag_in_words(value: str) -> bool:
    word = value.strip().lower()
    if word not in ("true", "false"):
        raise CellRefused("wrong_type", f"{shown(value)} is not true or false")
    return word == "true"


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise CellRefused("wrong_type", f"{shown(value)} is not true or false")
    return value


def _identifier(value: Any) -> str:
    known = canonical_id(value.strip()) if isinstance(value, str) else None
    if known is None:
        raise CellRefused("bad_identifier", f"{shown(value)} is not a UUID")
    return known
