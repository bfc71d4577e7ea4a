"""An import profile: how one sheet of a site names its columns and writes its numbers, times and words.

Nothing here is guessed: what a profile does not say is read as a file without a profile is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from service.history.attributes import named
from service.moments import NotAMoment
from service.use_cases.stays.lines import ATTRIBUTES, LENGTHS, STAY_COLUMNS
from service.use_cases.stays.marks import MM_IN

SEPARATORS: Final = (",", ";", "\t", "|")
ENCODINGS: Final = ("utf-8", "utf-16", "windows-1252")
DIRECTIVES: Final = frozenset("YmdHMSz")
EVERYTHING_ELSE: Final = "*"
CELLS: Final = ("id", *(name for name in STAY_COLUMNS if name != ATTRIBUTES))


@dataclass(frozen=True, slots=True)
class Profile:
    """How a sheet is read.

    ``columns`` leads from their names to ours, a length by the unit they write it in (``residual_clearance_in``);
    ``values`` from their words to ours, by our column; ``identity`` are their columns that together name a stay.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    separator: str | None = None
    encoding: str = "utf-8"
    skip_lines: int = 0
    decimal_mark: str | None = None
    thousands_mark: str | None = None
    patterns: tuple[str, ...] = ()
    zone: str | None = None
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    fixed: Mapping[str, str] = field(default_factory=dict)
    identity: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()


NONE: Final = Profile()


def profile_of(document: Mapping[str, Any]) -> Profile:
    """Return the profile of a document that was checked."""
    members: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in document.items()
        if name in Profile.__dataclass_fields__
    }
    dates = document.get("dates", {})
    return Profile(**members, patterns=tuple(dates.get("patterns", ())), zone=dates.get("zone"))


def target(name: str) -> tuple[str, str] | None:
    """Return our column that a name stands for, and the unit of its lengths; None when it is none."""
    if name in CELLS or named(name) is not None:
        return name, "mm"
    base, _, unit = name.rpartition("_")
    column = f"{base}_mm"
    return (column, unit) if column in LENGTHS and unit in MM_IN else None


def faults_of(document: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Return what is wrong with a profile: JSON Pointer, code, sentence."""
    found: list[tuple[str, str, str]] = []
    seen: dict[str, str] = {}
    for theirs, ours in document.get("columns", {}).items():
        place = f"#/columns/{theirs.replace('~', '~0').replace('/', '~1')}"
        known = target(ours)
        if known is None:
            found.append((place, "unknown_column", f"{ours!a} is no column; known are {', '.join(CELLS)}, lengths also "
                          "as _um, _in, _thou, and attributes.NAME"))  # fmt: skip
        elif known[0] in seen:
            found.append((place, "stands_twice", f"{known[0]} is read from {seen[known[0]]!a} already"))
        else:
            seen[known[0]] = theirs
    for member in ("values", "fixed"):
        for ours in document.get(member, {}):
            if ours not in CELLS and named(ours) is None:
                found.append((f"#/{member}/{ours}", "unknown_column", f"{ours!a} is no column of a stay"))
            if member == "fixed" and ours in seen:
                found.append((f"#/fixed/{ours}", "stands_twice", f"is read from {seen[ours]!a} already"))
    if document.get("identity") and ("external_id" in seen or "external_id" in document.get("fixed", {})):
        found.append(("#/identity", "stands_twice", "external_id is said already"))
    marks = document.get("decimal_mark"), document.get("thousands_mark")
    if marks[0] is not None and marks[0] == marks[1]:
        found.append(("#/thousands_mark", "ambiguous_mark", "is the decimal mark too"))
    for number, pattern in enumerate(document.get("dates", {}).get("patterns", ())):
        used = pattern.replace("%%", "").split("%")[1:]
        if not used or any(each[:1] not in DIRECTIVES for each in used) or not {"Y", "m", "d"} <= {u[:1] for u in used}:
            said = (
                f"{pattern!a}: a pattern has %Y, %m and %d, and may have %{' %'.join(sorted(DIRECTIVES - set('Ymd')))}"
            )
            found.append((f"#/dates/patterns/{number}", "bad_pattern", said))
    return found


def by_pattern(text: str, patterns: Sequence[str]) -> str:
    """Return a time as RFC 3339 writes it, by the first pattern that fits; its offset only where a pattern has one.

    Raises
    ------
    NotAMoment
        ``bad_time``: none fits.
    """
    for pattern in patterns:
        try:
            return datetime.strptime(text.strip(), pattern).isoformat()  # noqa: DTZ007 (the zone is asked for afterwards)
        except ValueError:
            continue
    raise NotAMoment("bad_time", f"is no time like {' or '.join(patterns)}")


def comparable(name: str) -> str:
    """Return a name of a column, or a word, as it is compared: without case and without more than single spaces."""
    return " ".join(name.split()).casefold()
