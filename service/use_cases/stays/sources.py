"""Stays as they are sent, in CSV, JSON or NDJSON: becomes columns of values that are not read yet."""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate
from service.exchange import strict_json
from service.exchange.media import CSV, JSON, NDJSON
from service.exchange.strict_json import NotStrictJSON
from service.history.attributes import NAME, PREFIX, named
from service.use_cases.stays.lines import ATTRIBUTES, STAY_COLUMNS, cells_of
from service.use_cases.stays.lists import END_MARK

COLUMNS: Final = ("id", *STAY_COLUMNS)
CELLS: Final = tuple(name for name in COLUMNS if name != ATTRIBUTES)
REQUIRED: Final = ("asset", "position", "designation", "installed_at", "end_type")
MOST_ROWS: Final = 250_000
MOST_TOO_SHORT: Final = 2_000
"""Rows with fewer members than a stay needs, after which nothing more is read."""


@dataclass(frozen=True, slots=True)
class Sent:
    """Columns of ``rows`` values each; None or an empty text where nothing is said. ``words``: all values are text.

    ``decimal_comma``: numbers may be written with a comma, because semicolons stand between the cells.
    """

    columns: dict[str, list[Any]]
    rows: int
    words: bool
    decimal_comma: bool = False


def sent_stays(data: bytes, media: str) -> Sent:
    """Return the columns of a body.

    Raises
    ------
    CannotEvaluate
        ``bad_csv``, ``bad_lines``, ``cut_short``, ``too_many_rows``, ``no_rows``
    """
    sent = {CSV: _from_csv, JSON: _from_json, NDJSON: _from_ndjson}[media](data)
    if sent.rows == 0:
        raise CannotEvaluate("there is no stay in what was sent", code="no_rows")
    if sent.rows > MOST_ROWS:
        raise CannotEvaluate(f"{sent.rows} rows were sent; at most {MOST_ROWS} are taken", code="too_many_rows")
    return sent


def template(names: Sequence[str]) -> str:
    """Return the header of the CSV, to be filled in; ``names`` are those of the site's attributes."""
    return ",".join(cells_of(STAY_COLUMNS, names)) + "\r\n"


def _from_csv(data: bytes) -> Sent:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _bad_csv(f"the file is not UTF-8: {error.reason} at byte {error.start}") from None
    first = text.split("\n", 1)[0]
    separator = ";" if first.count(";") > first.count(",") else ","
    try:
        lines = [line for line in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True) if line]
    except csv.Error as error:
        raise _bad_csv(f"the file is not CSV: {error}") from None
    header = [name.strip() for name in lines[0]] if lines else []
    _check_header(header)
    rows = _without_end_mark([line for line in lines[1:] if any(line)])
    for number, line in enumerate(rows, start=1):
        if len(line) != len(header):
            raise _bad_csv(f"row {number}: {len(line)} cells stand under {len(header)} columns")
    columns = [list(column) for column in zip(*rows, strict=True)] if rows else [[] for _ in header]
    return Sent(dict(zip(header, columns, strict=True)), len(rows), True, separator == ";")


def _without_end_mark(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows without the mark that an export ends with, when as many came as it says."""
    if not rows or rows[-1][0] != END_MARK:
        return rows
    _check_count(rows[-1][1] if len(rows[-1]) > 1 else "", len(rows) - 1)
    return rows[:-1]


def _check_header(header: list[str]) -> None:
    unknown = [name for name in header if name not in CELLS and named(name) is None]
    if not header or unknown:
        told = ", ".join(f"{name[:40]!a}" for name in unknown[:5]) or "the first line"
        raise _bad_csv(
            f"{told} is no column; the first line names the columns, known are {', '.join(CELLS)} "
            f"and {PREFIX}NAME (NAME as {NAME})"
        )
    for name in header:
        if header.count(name) > 1:
            raise _bad_csv(f"the column {name} stands twice")
    for name in REQUIRED:
        if name not in header:
            raise _bad_csv(f"the column {name} is missing; it is needed with every stay")


def _from_json(data: bytes) -> Sent:
    try:
        document = strict_json.parsed(data)
    except NotStrictJSON as error:
        raise CannotEvaluate(str(error), code="bad_lines") from None
    items = document.get("items") if isinstance(document, dict) else None
    if not isinstance(items, list) or not set(document) <= {"items", "next"}:
        raise CannotEvaluate('JSON is taken as {"items": [stay, ...]}', code="bad_lines")
    return _from_objects(items)


def _from_ndjson(data: bytes) -> Sent:
    objects: list[Any] = []
    too_short = 0
    for number, line in enumerate(data.removeprefix(b"\xef\xbb\xbf").split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            one = strict_json.parsed(line)
        except NotStrictJSON as error:
            raise CannotEvaluate(f"line {number}: {error}", code="bad_lines") from None
        objects.append(one)
        too_short += _is_too_short(one)
        if too_short > MOST_TOO_SHORT or len(objects) > MOST_ROWS + 1:
            break
    if objects and isinstance(objects[-1], dict) and objects[-1].get("end") is True:
        _check_count(str(objects[-1].get("count")), len(objects) - 1)
        objects.pop()
    return _from_objects(objects)


def _from_objects(objects: Iterable[Any]) -> Sent:
    columns: dict[str, list[Any]] = {name: [] for name in COLUMNS}
    rows = too_short = 0
    for rows, one in enumerate(objects, start=1):
        too_short += _is_too_short(one)
        if too_short > MOST_TOO_SHORT:
            raise CannotEvaluate(f"more than {MOST_TOO_SHORT} rows lack what a stay needs", code="bad_lines")
        if not isinstance(one, dict):
            raise CannotEvaluate(f"row {rows} is not an object", code="bad_lines")
        unknown = [name for name in one if name not in columns]
        if unknown:
            raise CannotEvaluate(f"row {rows}: {unknown[0][:40]!a} is not a member of a stay", code="bad_lines")
        for name, column in columns.items():
            column.append(one.get(name))
    return Sent(columns, rows, False)


def _is_too_short(one: Any) -> bool:
    return isinstance(one, dict) and len(one) < len(REQUIRED)


def _check_count(said: str, found: int) -> None:
    if said != str(found):
        raise CannotEvaluate(f"{found} rows came; the last line says {said[:20]!a}", code="cut_short")


def _bad_csv(detail: str) -> CannotEvaluate:
    return CannotEvaluate(detail, code="bad_csv")
