"""The table of foreseen verdicts as a phone takes it: sizes, one letter for each pair of rows, and what is said."""

from collections.abc import Mapping
from string import ascii_letters, digits
from typing import Any, Final

from service.instructions.readings.foreseen import Foreseen
from service.mounting.blades import BladeSet
from service.mounting.readings import ACCEPT
from service.render.phone.figures import Figures
from service.render.phone.words import Spoken, next_blade, spoken
from service.units import NM_PER_IN, NM_PER_MM

LETTERS: Final = digits + ascii_letters
"""One for each thing that can be said; what finds no letter is judged when it is sent."""
LEFT_OPEN: Final = "-"


def table_record(found: Foreseen, blade_set: BladeSet, figures: Figures) -> dict[str, Any]:
    """Return {kind, unit, per, sizes, rows, said, after?} for the script.

    ``sizes`` are whole numbers of nanometres, ``per`` how many of them make one unit, ``rows[i][j]`` the letter of
    what is said of size i in row 1 and size j in row 2, ``after`` the rows once an unsent initial clearance counts.
    """
    said: dict[Spoken, str] = {}
    record: dict[str, Any] = {
        "kind": found.kind,
        "unit": "in" if figures.units == "inch" else "mm",
        "per": {"in": NM_PER_IN, "thou": NM_PER_IN // 1000, "mm": NM_PER_MM},
        "sizes": list(found.sizes_nm),
        "rows": _rows(found, said, blade_set, figures),
    }
    if found.after:
        record["after"] = {
            f"{one},{two}": _rows(each, said, blade_set, figures) for (one, two), each in found.after.items()
        }
    return record | {"said": {letter: each.record() for each, letter in said.items()}}


def said_of(found: Foreseen, pair: tuple[int, int], blade_set: BladeSet, figures: Figures) -> Spoken:
    """Return what is said of a pair of rows."""
    return _said(found, pair, dict(found.pairs)[pair], blade_set, figures)


def _rows(found: Foreseen, said: dict[Spoken, str], blade_set: BladeSet, figures: Figures) -> list[str]:
    rows = []
    for one, row in zip(found.sizes_nm, found.verdicts, strict=True):
        letters = []
        for two, each in zip(found.sizes_nm, row, strict=True):
            words = _said(found, (one, two), each, blade_set, figures)
            letter = said.setdefault(words, LETTERS[len(said)] if len(said) < len(LETTERS) else LEFT_OPEN)
            letters.append(letter)
        rows.append("".join(letters))
    return rows


def _said(found: Foreseen, pair: tuple[int, int], each: Any, blade_set: BladeSet, figures: Figures) -> Spoken:
    target: Mapping[str, Any] = found.target
    if found.kind == "initial_clearance" and each.verdict == ACCEPT:
        target = found.targets[pair]
    words = spoken(found.kind, each, figures, target=target, rows_nm=pair)
    again = next_blade(each, pair, blade_set, figures)
    return words if again is None else Spoken(words.verdict, words.code, words.head, now=(again, *words.now))
