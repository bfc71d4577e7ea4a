"""A profile proposed from the first rows of a sheet, with what it could not tell.

A proposal says only what the rows show. What they leave open (which mark parts decimals, day or month first, the
zone) is asked, never filled in.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from difflib import get_close_matches
from typing import Any, Final

from service.errors import CannotEvaluate, shown
from service.history.damage import damage_codes
from service.use_cases.stays.cells import HOURS, RAN_AT
from service.use_cases.stays.lines import LENGTHS, TIMES
from service.use_cases.stays.marks import DoubtfulNumber, marks_of
from service.use_cases.stays.profile import NONE, comparable, target
from service.use_cases.stays.sources import REQUIRED, sheet
from service.words import END_TYPES

FIRST_ROWS: Final = 2_000
NUMBERS: Final = (*HOURS, *RAN_AT, *LENGTHS, "temperature_degc")
WORDS: Final = {
    "asset": ("asset", "equipment", "machine", "tag", "anlage", "maschine", "utrustning", "equipo", "machine no"),
    "position": ("position", "side", "place", "seite", "lagerstelle", "plats", "posicion"),
    "designation": ("designation", "bearing", "bearing type", "lager", "lagertyp", "type", "rodamiento", "roulement"),
    "external_id": ("external_id", "id", "no", "nr", "number", "record", "key"),
    "installed_at": (
        "installed",
        "fitted",
        "mounted",
        "installed at",
        "einbau",
        "eingebaut",
        "einbaudatum",
        "monterad",
    ),
    "removed_at": ("removed", "out", "taken out", "removed at", "ausbau", "ausgebaut", "ausbaudatum", "demonterad"),
    "operating_hours": (
        "operating hours",
        "hours",
        "hours run",
        "betriebsstunden",
        "stunden",
        "laufzeit",
        "drifttimmar",
    ),
    "end_type": ("end type", "reason", "why out", "grund", "ausbaugrund", "orsak"),
    "damage": ("damage", "damage seen", "schaden", "schadensbild", "skada"),
    "cause": ("cause", "ursache", "root cause"),
    "manufacturer": ("manufacturer", "maker", "hersteller", "tillverkare", "fabricante"),
    "serial": ("serial", "serial number", "seriennummer", "serienummer"),
    "inspected": ("inspected", "looked at", "geprueft", "befundet"),
    "work_order": ("work order", "order", "auftrag", "arbetsorder"),
    "installed_by": ("installed by", "fitter", "monteur", "montor"),
}
"""What sheets call our columns, in some languages: common words, no source"""
UNITS: Final = {
    "mm": "mm", "um": "um", "\u00b5m": "um", "\u03bcm": "um", "in": "in", "inch": "in", "zoll": "in", "thou": "thou",
    "mil": "thou",
}  # fmt: skip
_TIME: Final = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})(?:[ T](\d{1,2}):(\d\d)(:\d\d)?)?", re.ASCII).fullmatch
_UNIT: Final = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$").search


@dataclass(frozen=True, slots=True)
class Proposal:
    """A profile to look at, and the questions that somebody who knows the sheet answers."""

    profile: dict[str, Any]
    questions: tuple[str, ...]


def proposed(data: bytes, name: str) -> Proposal:
    """Return a profile for a sheet, by its first rows.

    Raises
    ------
    CannotEvaluate
        ``bad_csv``: no CSV in any encoding that is taken.
    """
    encoding, skipped, header, rows, separator = _read(data)
    questions: list[str] = []
    columns, unread = _columns(header)
    profile: dict[str, Any] = {"name": name, "columns": columns, "separator": separator}
    profile |= {"encoding": encoding} if encoding != "utf-8" else {}
    profile |= {"skip_lines": skipped} if skipped else {}
    cells = {
        target(ours)[0]: [row[header.index(theirs)].strip() for row in rows if row[header.index(theirs)].strip()]  # type: ignore[index]
        for theirs, ours in columns.items()
    }
    profile |= _marks(cells, separator, questions)
    profile |= _dates(cells, questions)
    values = _values(cells, questions)
    profile |= {"values": values} if values else {}
    if unread:
        profile["ignore"] = unread
        questions.append(f"not read: {', '.join(unread)}; move what you need to columns")
    if "external_id" not in cells:
        named = {target(ours)[0]: theirs for theirs, ours in columns.items()}  # type: ignore[index]
        identity = [named[each] for each in ("asset", "position", "installed_at") if each in named]
        profile |= {"identity": identity} if len(identity) == 3 else {}
        questions.append("no column is an external_id: do machine, position and time of fitting together name a stay?")
    lacking = [each for each in REQUIRED if each not in cells]
    if lacking:
        questions.append(f"no column was found for {', '.join(lacking)}: name it in columns, or say fixed")
    return Proposal(profile, tuple(questions))


def _read(data: bytes) -> tuple[str, int, list[str], list[list[str]], str]:
    """Return encoding, lines above the names, names, whole rows and separator."""
    encoding = _encoding(data)
    profile = replace(NONE, encoding=encoding)
    for skipped in range(6):
        header, rows, separator = sheet(data, replace(profile, skip_lines=skipped))
        whole = [row for row in rows[:FIRST_ROWS] if len(row) == len(header)]
        if len(header) > 2 and all(header) and 2 * len(whole) > len(rows[:FIRST_ROWS]):
            return encoding, skipped, header, whole, separator
    raise CannotEvaluate("no line of the first six names the columns of the rows below it", code="bad_csv")


def _encoding(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "windows-1252"
    return "utf-8"


def _columns(header: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """Return our column by theirs where a name says it, and the names that say nothing to us."""
    known = {word: ours for ours, words in WORDS.items() for word in (*words, ours)}
    found: dict[str, str] = {}
    unread: list[str] = []
    for theirs in header:
        ours = _ours(theirs, known)
        if ours is None or target(ours)[0] in [target(each)[0] for each in found.values()]:  # type: ignore[index]
            unread.append(theirs)
        else:
            found[theirs] = ours
    return found, unread


def _ours(theirs: str, known: dict[str, str]) -> str | None:
    if target(theirs) is not None:
        return theirs
    unit = _UNIT(theirs)
    plain = comparable(theirs[: unit.start()] if unit else theirs).replace("_", " ").rstrip(":.")
    length = _length(plain)
    if length is not None:
        named = UNITS.get(comparable(unit[1])) if unit else None
        return f"{length}_{named}" if named else None
    if plain in known:
        return known[plain]
    close = get_close_matches(plain, known, n=1, cutoff=0.85)
    return known[close[0]] if close else None


def _length(plain: str) -> str | None:
    """Return the length that a name means, without its unit."""
    for base in (name[:-3] for name in LENGTHS):
        if plain == base.replace("_", " "):
            return base
    if "clearance" in plain or "spiel" in plain or "luft" in plain:
        if any(word in plain for word in ("residual", "left", "after", "rest", "final")):
            return "residual_clearance"
        if any(word in plain for word in ("initial", "before", "anfang", "new")):
            return "initial_clearance"
    return None


def _marks(cells: dict[str, list[str]], separator: str, questions: list[str]) -> dict[str, str]:
    """Return the marks that every column of numbers can have, or ask."""
    found: dict[str, str] = {}
    numbers = [cell for name in NUMBERS for cell in cells.get(name, ())]
    both = [cell for cell in numbers if "," in cell and "." in cell]
    if both:
        last = {max(",.", key=cell.rfind) for cell in both}
        if len(last) == 1:
            decimal = last.pop()
            return {"decimal_mark": decimal, "thousands_mark": "," if decimal == "." else "."}
    for name in NUMBERS:
        marks = marks_of(cells.get(name, ()), comma=True)
        if len(marks.proven) == 1:
            found["decimal_mark"] = next(iter(marks.proven))
        for cell in cells.get(name, ()):
            try:
                marks.plain(cell)
            except DoubtfulNumber as doubt:
                questions.append(f"{name}: {doubt.said}")
                break
    return found


def _dates(cells: dict[str, list[str]], questions: list[str]) -> dict[str, Any]:
    """Return the patterns of the times, or ask whether day or month comes first."""
    patterns: dict[str, None] = {}
    texts = [cell for name in TIMES for cell in cells.get(name, ())]
    first = [int(match[1]) for match in map(_TIME, texts) if match and len(match[1]) <= 2]
    second = [int(match[3]) for match in map(_TIME, texts) if match and len(match[1]) <= 2]
    day_first = any(each > 12 for each in first)
    if first and not day_first and not any(each > 12 for each in second):
        questions.append(f"times: is {shown(texts[0])} written day first or month first? say dates.patterns")
        return {}
    for match in map(_TIME, texts):
        if match is None or (len(match[1]) == 4 and match[2] == "-"):
            continue
        mark = match[2]
        day = ("%Y", "%m", "%d") if len(match[1]) == 4 else ("%d", "%m", "%Y") if day_first else ("%m", "%d", "%Y")
        clock = "" if match[5] is None else " %H:%M" if match[7] is None else " %H:%M:%S"
        patterns[mark.join(day) + clock] = None
    without = [text for text in texts if not re.search(r"(Z|[+-]\d\d:?\d\d)$", text) or _TIME(text)]
    if without:
        questions.append("times lack their offset from UTC: say dates.zone, such as Europe/Stockholm")
    fitting = [each for each in patterns if any(_fits(text, each) for text in texts)]
    return {"dates": {"patterns": fitting}} if fitting else {}


def _fits(text: str, pattern: str) -> bool:
    try:
        datetime.strptime(text, pattern)  # noqa: DTZ007 (only whether it can be read)
    except ValueError:
        return False
    return True


def _values(cells: dict[str, list[str]], questions: list[str]) -> dict[str, dict[str, str]]:
    """Return the words of the sheet that need one of ours; each leads to itself until somebody says more."""
    found: dict[str, dict[str, str]] = {}
    known: dict[str, Callable[[str], bool]] = {
        "end_type": lambda text: text in END_TYPES,
        "damage": _is_damage,
        "inspected": lambda text: text.lower() in ("true", "false"),
    }
    for name, knows in known.items():
        words = sorted({cell for cell in cells.get(name, ()) if not knows(cell)})[:40]
        if words:
            found[name] = {word: word for word in words}
            questions.append(f"values.{name}: say what these mean: {', '.join(map(shown, words[:8]))}")
    return found


def _is_damage(text: str) -> bool:
    try:
        damage_codes(text)
    except CannotEvaluate:
        return False
    return True
