"""The verdicts along a scale, and on the answers of a step, as a phone takes them."""

from collections.abc import Mapping
from itertools import groupby
from typing import Any, Final

from service.instructions.readings.foreseen_line import Line
from service.mounting.readings import ACCEPT, Verdict
from service.render.phone.figures import Figures
from service.render.phone.table import LEFT_OPEN, LETTERS
from service.render.phone.words import Spoken, spoken

MOST_SAID: Final = 20
"""Different things that are said along a scale: a page stays small, and far outside the service judges."""


def line_record(line: Line, figures: Figures) -> dict[str, Any]:
    """Return {kind, unit, places, first, runs, said} for the script.

    ``first`` is in the last decimal of the instrument, ``runs`` say how many numbers one after the other have the same
    letter. What is said nearest the limits gets a letter first; what finds none is judged when sent.
    """
    words = [spoken(line.kind, each, figures, target=None) for each in line.verdicts]
    inside = [n for n, each in enumerate(line.verdicts) if each.verdict == ACCEPT]
    off = [max(inside[0] - n, n - inside[-1], 0) for n in range(len(words))]
    said: dict[Spoken, str] = {}
    for n in sorted(range(len(words)), key=lambda n: off[n]):
        if words[n] not in said and len(said) < MOST_SAID:
            said[words[n]] = LETTERS[len(said)]
    letters = [said.get(each, LEFT_OPEN) for each in words]
    return {
        "kind": line.kind,
        "unit": line.unit,
        "places": line.places,
        "first": line.first,
        "runs": [[len(list(run)), letter] for letter, run in groupby(letters)],
        "said": {letter: each.record() for each, letter in said.items()},
    }


def words_record(kind: str, found: Mapping[str, Verdict], figures: Figures) -> dict[str, Any]:
    """Return {kind, words: {answer: what is said}} for the script."""
    said = {word: spoken(kind, each, figures, target=None).record() for word, each in found.items()}
    return {"kind": kind, "words": said}
