"""Stays as they are sent, in CSV, JSON or NDJSON: becomes columns of values that are not read yet."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from service.errors import CannotEvaluate, nearest
from service.exchange import strict_json
from service.exchange.media import CSV, JSON, NDJSON
from service.exchange.strict_json import NotStrictJSON
from service.history.attributes import NAME, PREFIX
from service.use_cases.stays.faults import MOST_FAULTS, RowFault
from service.use_cases.stays.lines import ATTRIBUTES, STAY_COLUMNS, cells_of
from service.use_cases.stays.lists import END_MARK
from service.use_cases.stays.marks import Marks, marks_of
from service.use_cases.stays.profile import EVERYTHING_ELSE, NONE, SEPARATORS, Profile, comparable, target

COLUMNS: Final = ("id", *STAY_COLUMNS)
CELLS: Final = tuple(name for name in COLUMNS if name != ATTRIBUTES)
REQUIRED: Final = ("asset", "position", "designation", "installed_at", "end_type")
MOST_ROWS: Final = 250_000
MOST_TOO_SHORT: Final = 2_000
"""Rows with fewer members than a stay needs, after which nothing more is read."""


@dataclass(frozen=True, slots=True)
class Sent:
    """Columns of ``rows`` values each, as they were sent; None or an empty text where nothing is said.

    ``words``: all values are text. ``units`` are those of lengths that are not in mm, ``names`` what the sheet calls a
    column where it is not our name, ``values`` their words by our column, ``faults`` rows that fit no columns.
    """

    columns: dict[str, list[Any]]
    rows: int
    words: bool
    decimal_comma: bool = False
    profile: Profile = NONE
    units: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    faults: tuple[RowFault, ...] = ()

    def marks(self, column: str) -> Marks:
        """Return how a column writes its numbers: as the profile says, else as its own cells prove."""
        if self.profile.decimal_mark is not None or self.profile.thousands_mark is not None:
            return Marks(self.profile.decimal_mark, self.profile.thousands_mark)
        return marks_of(self.columns.get(column, ()), comma=self.decimal_comma)


def sent_stays(data: bytes, media: str, profile: Profile = NONE) -> Sent:
    """Return the columns of a body.

    Raises
    ------
    CannotEvaluate
        ``bad_csv``, ``bad_lines``, ``cut_short``, ``too_many_rows``, ``no_rows``; ``profile_not_for_this``: a profile
        reads CSV.
    """
    if profile is not NONE and media != CSV:
        raise CannotEvaluate(f"a profile reads {CSV}; {media} was sent", code="profile_not_for_this")
    sent = _from_csv(data, profile) if media == CSV else {JSON: _from_json, NDJSON: _from_ndjson}[media](data)
    if sent.rows == 0:
        raise CannotEvaluate("there is no stay in what was sent", code="no_rows")
    if sent.rows > MOST_ROWS:
        raise CannotEvaluate(f"{sent.rows} rows were sent; at most {MOST_ROWS} are taken", code="too_many_rows")
    return sent


def template(names: Sequence[str]) -> str:
    """Return the header of the CSV, to be filled in; ``names`` are those of the site's attributes."""
    return ",".join(cells_of(STAY_COLUMNS, names)) + "\r\n"


def _from_csv(data: bytes, profile: Profile) -> Sent:
    header, rows, separator = sheet(data, profile)
    found = _columns(header, profile)
    faults = [
        RowFault(number, "", None, "wrong_width", f"{len(line)} cells stand under {len(header)} columns")
        for number, line in enumerate(rows, start=1)
        if len(line) != len(header)
    ]
    if len(faults) >= MOST_FAULTS:
        raise _bad_csv(f"row {faults[0].row}: {faults[0].message}; so in {len(faults)} rows or more")
    nothing = [""] * len(header)
    whole = [line if len(line) == len(header) else nothing for line in rows]
    theirs = [list(column) for column in zip(*whole, strict=True)] if whole else [[] for _ in header]
    columns = {column: theirs[number] for number, (column, _) in found.items()}
    columns |= {name: [text] * len(rows) for name, text in profile.fixed.items()}
    if profile.identity:
        columns["external_id"] = _identities(header, theirs, profile.identity)
    return Sent(
        columns=columns,
        rows=len(rows),
        words=True,
        decimal_comma=separator != "," if profile.decimal_mark is None else profile.decimal_mark == ",",
        profile=profile,
        units={column: unit for column, unit in found.values() if unit != "mm"},
        names={column: header[number] for number, (column, _) in found.items() if header[number] != column},
        values={
            column: {comparable(theirs): ours for theirs, ours in words.items()}
            for column, words in profile.values.items()
        },
        faults=tuple(faults),
    )


def sheet(data: bytes, profile: Profile) -> tuple[list[str], list[list[str]], str]:
    """Return the names of the columns, the rows below them and the separator of a CSV.

    Raises
    ------
    CannotEvaluate
        ``bad_csv``, ``cut_short``
    """
    encoding = "utf-8-sig" if profile.encoding == "utf-8" else profile.encoding
    try:
        text = data.decode(encoding)
    except UnicodeError as error:
        at = f": {error.reason} at byte {error.start}" if isinstance(error, UnicodeDecodeError) else ""
        said = f"the file is not {profile.encoding.upper()}{at}; save it as UTF-8, or say its encoding in a profile"
        raise _bad_csv(said) from None
    for _ in range(profile.skip_lines):
        text = text.partition("\n")[2]
    first = text.split("\n", 1)[0]
    separator = profile.separator or max(SEPARATORS, key=lambda sign: (first.count(sign), sign == ","))
    try:
        lines = [line for line in csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True) if line]
    except csv.Error as error:
        raise _bad_csv(f"the file is not CSV: {error}") from None
    header = [name.strip() for name in lines[0]] if lines else []
    return header, _without_end_mark([line for line in lines[1:] if any(line)]), separator


def _columns(header: list[str], profile: Profile) -> dict[int, tuple[str, str]]:
    """Return our column and its unit by the number of theirs.

    Raises
    ------
    CannotEvaluate
        ``bad_csv``: a column that is not known, that stands twice, or that is missing.
    """
    said = {comparable(theirs): ours for theirs, ours in profile.columns.items()}
    ignored = {comparable(name) for name in (*profile.ignore, *profile.identity)}
    found: dict[int, tuple[str, str]] = {}
    unknown: list[str] = []
    for number, name in enumerate(header):
        ours = target(said.get(comparable(name), name))
        if ours is not None and (comparable(name) in said or comparable(name) not in ignored):
            if ours[0] in [column for column, _ in found.values()]:
                raise _bad_csv(f"the column {name[:40]} stands twice")
            found[number] = ours
        elif comparable(name) not in ignored and EVERYTHING_ELSE not in profile.ignore:
            unknown.append(name)
    if not header or unknown:
        raise _unknown_columns(unknown, profile)
    _check_whole(header, found, profile)
    return found


def _unknown_columns(unknown: list[str], profile: Profile) -> CannotEvaluate:
    told = ", ".join(f"{name[:40]!a}" for name in unknown[:5]) or "the first line"
    way_out = (
        "name it in the profile's columns, or in ignore"
        if profile is not NONE
        else "an import profile leads other names to them (PUT /v1/stays/profiles/NAME)"
    )
    return _bad_csv(
        f"{told} is no column{nearest(unknown, CELLS)}; the first line names the columns, known are {', '.join(CELLS)} "
        f"and {PREFIX}NAME (NAME as {NAME}), lengths also in _um, _in and _thou; {way_out}"
    )


def _check_whole(header: list[str], found: dict[int, tuple[str, str]], profile: Profile) -> None:
    stand = {comparable(name) for name in header}
    for name in (*profile.columns, *profile.identity):
        if comparable(name) not in stand:
            raise _bad_csv(f"the profile reads the column {name[:40]!a}; the file has {', '.join(header)[:300]}")
    for name in REQUIRED:
        if name not in [column for column, _ in found.values()] and name not in profile.fixed:
            raise _bad_csv(f"the column {name} is missing; it is needed with every stay")


def _identities(header: list[str], theirs: list[list[str]], names: Sequence[str]) -> list[str]:
    """Return what names each stay: the cells of some columns, joined; nothing where one of them is empty."""
    numbers = [[comparable(name) for name in header].index(comparable(name)) for name in names]
    cells = zip(*(theirs[number] for number in numbers), strict=True)
    return ["/".join(each.strip() for each in row) if all(each.strip() for each in row) else "" for row in cells]


def _without_end_mark(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows without the mark that an export ends with, when as many came as it says."""
    if not rows or rows[-1][0] != END_MARK:
        return rows
    _check_count(rows[-1][1] if len(rows[-1]) > 1 else "", len(rows) - 1)
    return rows[:-1]


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
            said = f"row {rows}: {unknown[0][:40]!a} is not a member of a stay{nearest(unknown[:1], COLUMNS)}"
            raise CannotEvaluate(said, code="bad_lines")
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
