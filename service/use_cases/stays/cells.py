"""Reading the values of stays that are sent: a function for each column, and the faults row by row."""

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any, Final

from service.characters import TooManyMarks, composed
from service.errors import CannotEvaluate, shown
from service.history.attributes import LONGEST_TEXT, MOST, PREFIX, NotAValue, attribute_value, is_name
from service.history.damage import damage_codes
from service.history.stays import Stay
from service.instructions.plan.machine import normalised_bearing
from service.moments import NotAMoment, moment_in_zone
from service.spreadsheet import unguarded
from service.store.identity import canonical_id
from service.units import nm_from_mm
from service.use_cases.stays.faults import MOST_FAULTS, RowFault
from service.use_cases.stays.lines import ATTRIBUTES, CLEARANCES, LENGTHS, TIMES
from service.use_cases.stays.marks import DoubtfulNumber, in_millimetres
from service.use_cases.stays.profile import by_pattern, comparable
from service.use_cases.stays.sources import COLUMNS, REQUIRED, Sent
from service.words import END_TYPES

HOURS: Final = ("operating_hours", "age_at_install_h", "downtime_h")
RAN_AT: Final = ("speed_rpm", "radial_load_n")
LONGEST: Final = {"asset": 80, "position": 80, "designation": 80, "manufacturer": 120, "serial": 120, "cause": 500,
                  "external_id": 200, "work_order": 200, "installed_by": 80, "lubricant": 120, "batch": 80}  # fmt: skip
MOST_CLEARANCE_MM: Final = 25.0
MOST_DIAMETER_MM: Final = 2500.0
Parser = Callable[[Any], Any]


class CellRefused(Exception):
    """A value that cannot be read."""

    def __init__(self, code: str, detail: str) -> None:
        self.code, self.detail = code, detail
        super().__init__(detail)


Attributes = list[dict[str, Any] | None]


@dataclass(frozen=True, slots=True)
class Cells:
    """What could be read: stays of the rows without a fault, with the numbers of the rows and the ids that came along.

    The stays are without their attributes: whether a name takes a value the site knows. ``attributes`` None: no row
    has any. ``unknown`` are the rows whose designation nobody here can read.
    """

    stays: list[Stay]
    rows: list[int]
    ids: list[str | None]
    attributes: Attributes | None
    faults: list[RowFault]
    unknown: list[RowFault]


def read_stays(sent: Sent, zone: tzinfo | None) -> Cells:
    """Return the stays, and what could not be read.

    Parameters
    ----------
    zone : tzinfo or None
        The site's time zone, for times that state no offset.
    """
    faults: list[RowFault] = []
    parsers, doubtful = _parsers(sent, zone)
    nothing: list[Any] = [None] * sent.rows
    columns: dict[str, list[Any]] = {
        name: _read(name, sent.columns[name], parsers[name], faults) if name in sent.columns else nothing
        for name in COLUMNS
    }
    attributes = _attributes(sent, columns, faults)
    misfits = {fault.row for fault in sent.faults}
    _missing(columns, misfits, faults)
    if len(faults) < MOST_FAULTS:
        faults += _without_identity(sent, columns, misfits)
    unknown = [
        RowFault(row, "designation", sent.columns["designation"][row - 1], "unknown_designation", doubtful[written])
        for row, written in enumerate(columns["designation"], start=1)
        if written in doubtful
    ]
    read_to_the_end = len(faults) < MOST_FAULTS
    faults = sorted([*sent.faults, *faults], key=lambda fault: fault.row)
    if not read_to_the_end:
        return Cells([], [], [], None, faults, unknown)
    bad = {fault.row for fault in faults}
    rows = [row for row in range(1, sent.rows + 1) if row not in bad]
    ids = columns.pop("id")
    names = [f"{name[:-3]}_nm" if name in LENGTHS else name for name in columns]
    whole = list(zip(*columns.values(), strict=True))
    stays = [Stay(**dict(zip(names, whole[row - 1], strict=True))) for row in rows]
    kept = None if attributes is None else [attributes[row - 1] for row in rows]
    return Cells(stays, rows, [ids[row - 1] for row in rows], kept, faults, unknown)


def _missing(columns: Mapping[str, list[Any]], misfits: set[int], faults: list[RowFault]) -> None:
    """Add a fault for each cell that is needed and empty."""
    for name in REQUIRED:
        refused = misfits | {fault.row for fault in faults if fault.column == name}
        for row, value in enumerate(columns[name], start=1):
            if len(faults) >= MOST_FAULTS:
                return
            if value is None and row not in refused:
                faults.append(RowFault(row, name, None, "required", f"{name} is needed"))


def _without_identity(sent: Sent, columns: Mapping[str, list[Any]], misfits: set[int]) -> list[RowFault]:
    """Return the rows that no later import could know again, and those that stand twice."""
    faults: list[RowFault] = []
    seen: dict[str, int] = {}
    for row, (external_id, stay_id) in enumerate(zip(columns["external_id"], columns["id"], strict=True), start=1):
        identity = external_id or stay_id
        if len(faults) >= MOST_FAULTS:
            break
        if row in misfits:
            continue
        if identity is None:
            said = "external_id is needed: it is how the stay is known again when the file comes twice"
            faults.append(RowFault(row, "external_id", None, "required", said))
        elif identity in seen:
            faults.append(_twice(sent, row, seen[identity], identity))
        else:
            seen[identity] = row
    return faults


def _twice(sent: Sent, row: int, first: int, identity: str) -> RowFault:
    """Return the fault of a row whose id stands in an earlier one; the same in every cell is told from another stay."""
    if all(values[row - 1] == values[first - 1] for values in sent.columns.values()):
        said = f"is row {first} once more, the same in every cell; leave one of the two out"
        return RowFault(row, "external_id", identity, "repeated_row", said)
    said = f"stands in row {first} too, with other cells; each stay has an id of its own"
    return RowFault(row, "external_id", identity, "stands_twice", said)


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
            if len(faults) >= MOST_FAULTS:
                return found + [None] * (len(values) - row)
            continue
        if type(value) is str:
            known[value] = read
        found.append(read)
    return found


def _parsers(sent: Sent, zone: tzinfo | None) -> tuple[dict[str, Parser], dict[str, str]]:
    """Return how each column is read, and the designations that nobody could read so far, with why."""
    doubtful: dict[str, str] = {}
    parsers: dict[str, Parser] = {name: _text(longest, sent.words) for name, longest in LONGEST.items()}
    parsers["designation"] = _designation(parsers["designation"], doubtful)
    parsers |= dict.fromkeys((name for name in TIMES if name in COLUMNS), _time(zone, sent.profile.patterns))
    for name in (*HOURS, *RAN_AT, *LENGTHS, "temperature_degc"):
        number = _number_in_words(sent, name) if sent.words else _signed if name == "temperature_degc" else _hours
        if name in LENGTHS:
            what = "clearance" if name in CLEARANCES else "diameter of a shaft"
            most_mm = MOST_CLEARANCE_MM if name in CLEARANCES else MOST_DIAMETER_MM
            parsers[name] = _length(number, sent.units.get(name, "mm"), most_mm, what)
        else:
            parsers[name] = _float(number) if sent.words else number
    parsers |= {"id": _identifier, "end_type": _end_type, "damage": _damage, ATTRIBUTES: _attributes_of_row}
    parsers["inspected"] = _flag_in_words if sent.words else _flag
    for name, words in sent.values.items():
        if name in parsers:
            parsers[name] = _translated(parsers[name], words)
    return parsers, doubtful


def _translated(read: Parser, words: Mapping[str, str]) -> Parser:
    """Return a reader that takes a sheet's words for ours first; a word that leads to nothing says nothing."""

    def translated(value: str) -> Any:
        text = words.get(comparable(value), value)
        return read(text) if text.strip() else None

    return translated


def _float(number: Parser) -> Parser:
    return lambda value: float(number(value))


def _text(longest: int, words: bool) -> Parser:
    def read(value: Any) -> str | None:
        if not isinstance(value, str):
            raise CellRefused("wrong_type", f"{shown(value)} is not a text")
        text = unguarded(value) if words else value
        if len(text) > 4 * longest:  # no character is written with more than four, decomposed
            raise CellRefused("wrong_length", f"{len(text)} characters; at most {longest} are taken")
        if not (text.isascii() and text.isprintable()):
            if any(unicodedata.category(c) in ("Cc", "Cs") for c in text):
                raise CellRefused("bad_character", "control characters and lone surrogates are refused")
            try:
                text = composed(text)
            except TooManyMarks as error:
                raise CellRefused("bad_character", str(error)) from None
        text = text.strip()
        if len(text) > longest:
            raise CellRefused("wrong_length", f"{len(text)} characters; at most {longest} are taken")
        return text or None

    return read


def _designation(text: Parser, doubtful: dict[str, str]) -> Parser:
    """Return the reader of a designation: as we write it where we can read it, else as it was sent, with the doubt."""

    def read(value: Any) -> Any:
        written = text(value)
        if written is None:
            return None
        try:
            return normalised_bearing({"designation": written}, "designation")["designation"]
        except CannotEvaluate as unread:
            doubtful[written] = f"{unread}; say accept_unknown=true to take it as it is"
            return written

    return read


def _time(zone: tzinfo | None, patterns: Sequence[str]) -> Parser:
    def read(value: Any) -> datetime:
        try:
            return moment_in_zone(by_pattern(value, patterns) if patterns else value, zone)
        except NotAMoment as refused:
            raise CellRefused(refused.code, f"{shown(value)} {refused.said}") from None

    return read


def _number_in_words(sent: Sent, name: str) -> Parser:
    marks = sent.marks(name)

    def read(value: str) -> str:
        try:
            text = marks.plain(value)
        except DoubtfulNumber as doubt:
            raise CellRefused(doubt.code, doubt.said) from None
        if text.startswith("-") and name != "temperature_degc":
            raise CellRefused("wrong_type", f"{shown(value)} is not a number such as 0.065, zero or more")
        return text

    return read


def _hours(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e15:
        raise CellRefused("wrong_type", f"{shown(value)} is not a number, zero or more")
    return float(value)


def _signed(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e15:
        raise CellRefused("wrong_type", f"{shown(value)} is not a number")
    return float(value)


def _attributes(sent: Sent, columns: dict[str, list[Any]], faults: list[RowFault]) -> Attributes | None:
    """Return the attributes row by row, of a CSV from a column for each name; take them out of the columns."""
    found: Sequence[Any] = columns[ATTRIBUTES]
    columns[ATTRIBUTES] = [None] * sent.rows
    if sent.words:
        text = _text(LONGEST_TEXT, words=True)
        cells = {
            name.removeprefix(PREFIX): _read(name, values, text, faults)
            for name, values in sent.columns.items()
            if name.startswith(PREFIX)
        }
        if not cells:
            return None
        rows = zip(*cells.values(), strict=True)
        found = [{name: cell for name, cell in zip(cells, row, strict=True) if cell is not None} for row in rows]
    return [one or None for one in found] if any(found) else None


def _attributes_of_row(value: Any) -> dict[str, Any]:
    if not isinstance(value, Mapping) or len(value) > MOST:
        said = f'{shown(value)} is not an object of up to {MOST} attributes such as {{"crew_size": 3}}'
        raise CellRefused("wrong_type", said)
    unknown = [name for name in value if not is_name(name)]
    if unknown:
        said = f"{shown(unknown[0])} is no name of an attribute: small letters, digits and _, a letter first, up to 40"
        raise CellRefused("bad_name", said)
    try:
        return {name: attribute_value(one) for name, one in value.items() if one is not None}
    except NotAValue as refused:
        raise CellRefused(refused.code, refused.said) from None


def _length(number: Parser, unit: str, most_mm: float, what: str) -> Parser:
    def read(value: Any) -> int:
        read = number(value)
        millimetres = in_millimetres(read, unit) if unit != "mm" else read
        try:
            length_nm = nm_from_mm(millimetres)
        except ValueError:
            raise CellRefused("out_of_range", f"{shown(value)} {unit} is finer than a nanometre") from None
        if length_nm > most_mm * 1e6:
            said = f"{shown(value)} {unit} is no {what}: at most {most_mm:g} mm are taken; the column is in {unit}"
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
