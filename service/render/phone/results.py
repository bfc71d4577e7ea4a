"""A reading that was entered, as the phone shows it: what was read, what it is worth, what to do now."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from service.instructions.readings.hold_points import rows_of
from service.instructions.readings.readings import Value
from service.mounting.blades import BladeSet
from service.mounting.readings import Verdict
from service.render.phone.figures import Figures
from service.render.phone.words import next_blade, spoken
from service.units import Quantity
from service.words import CLEARANCE_READINGS

MARKS = {
    "accept": '<svg viewBox="0 0 54 54" role="img" aria-label="accepted"><circle cx="27" cy="27" r="24" fill="none" '
    'stroke="#000" stroke-width="4"/><path d="M14 28 L24 38 L41 17" fill="none" stroke="#000" stroke-width="6"/></svg>',
    "recheck": '<svg viewBox="0 0 54 54" role="img" aria-label="measure again"><circle cx="27" cy="27" r="24" '
    'fill="none" stroke="#000" stroke-width="4"/><path d="M39 20 A14 14 0 1 0 41 31 M41 12 L40 22 L30 20" fill="none" '
    'stroke="#000" stroke-width="5"/></svg>',
    "reject": '<svg viewBox="0 0 54 54" role="img" aria-label="stop"><polygon points="17,3 37,3 51,17 51,37 37,51 17,51'
    ' 3,37 3,17" fill="none" stroke="#000" stroke-width="4"/><path d="M18 18 L36 36 M36 18 L18 36" stroke="#000" '
    'stroke-width="6"/></svg>',
}


@dataclass(frozen=True, slots=True)
class Result:
    """A reading with its verdict; ``id`` is what takes it back."""

    id: str
    kind: str
    position: str | None
    verdict: str
    code: str | None
    head: str
    read: str
    detail: str
    now: tuple[str, ...]
    taken: str
    leave: str | None = None
    goes_in: str | None = None
    must_not: str | None = None

    @property
    def look(self) -> str:
        """Return whose mark and bars it has: a nut that is turned on is no STOP, though the reading is not accepted."""
        return "recheck" if self.code == "too_loose" else self.verdict

    @property
    def mark(self) -> Markup:
        """Return the mark of the verdict."""
        return Markup(MARKS[self.look])

    def said(self) -> dict[str, Any]:
        """Return what the script compares with what it had looked up."""
        shown = {"v": self.verdict, "c": self.code, "h": self.head, "l": self.leave, "n": list(self.now)}
        return {name: value for name, value in shown.items() if value}


def result_of(row: Any, figures: Figures, *, target: Mapping[str, Any] | None, blade_set: BladeSet | None) -> Result:
    """Return what a stored reading says.

    Parameters
    ----------
    target : mapping or None
        The clearance target of its position in the revision in force
    blade_set : BladeSet or None
        The blades in use
    """
    document = row.document
    found = Verdict(row.verdict, row.code, (), None, document["detail"], document["next"])
    rows_nm = _rows(document) if row.kind in CLEARANCE_READINGS else ()
    words = spoken(row.kind, found, figures, target=target, rows_nm=rows_nm)
    again = None if blade_set is None or not rows_nm else next_blade(found, rows_nm, blade_set, figures)
    return Result(
        id=row.id,
        kind=row.kind,
        position=row.position,
        verdict=row.verdict,
        code=row.code,
        head=words.head,
        read=read_of(row.kind, document, figures),
        detail=figures.line(document["detail"]),
        now=words.now if again is None else (again, *words.now),
        taken=f"{row.taken_by}, {row.taken_at:%Y-%m-%d %H:%M} UTC",
        leave=words.leave,
        goes_in=words.goes_in,
        must_not=words.must_not,
    )


def _rows(document: Mapping[str, Any]) -> tuple[float, ...]:
    return rows_of(
        [Value(quantity=each["value"], row=each.get("row"), point=each.get("point")) for each in document["values"]]
    )


def read_of(kind: str, document: Mapping[str, Any], figures: Figures) -> str:
    """Return what was read, one value after the other; of a series its first and its last pair."""
    said = [
        f"{'row ' + str(each['row']) + ' ' if each.get('row') else ''}{_word(kind, each['value'], figures)}"
        for each in document.get("values", ())
    ]
    series = document.get("series", ())
    said += [
        f"minute {pair['minute']:g}: {figures.text(pair['temperature'])}"
        for pair in ((series[0], series[-1]) if len(series) > 1 else series)
    ]
    return ", ".join(said) or "none"


def _word(kind: str, value: Any, figures: Figures) -> str:
    """Return a value as it is read: a quantity, the word of an answer, what a tick says."""
    if isinstance(value, Quantity):
        return figures.text(value)
    if isinstance(value, bool):
        if kind == "try_start":
            return "nothing turned" if value else "it turned, or nobody tried"
        return "done" if value else "no"
    return str(value).replace("_", " ")
