"""What makes a card one that is filled in: forms, what was entered last at each step, what is still open."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service.errors import Text
from service.instructions.readings.corrections import REASONS
from service.units import Quantity

VERDICT_WORDS: Final = {"accept": "ACCEPTED", "recheck": "MEASURE AGAIN", "reject": "NOT ACCEPTED"}


@dataclass(frozen=True, slots=True)
class Result:
    """The last reading of a step, at a position or once, and what it is worth; ``id`` is what takes it back."""

    id: str
    kind: str
    position: str | None
    verdict: str
    read: Text
    detail: Text
    following: Text
    taken: str

    @property
    def word(self) -> str:
        """Return the verdict in words."""
        return VERDICT_WORDS[self.verdict]

    @staticmethod
    def of(row: Any) -> "Result":
        """Return what a stored reading says."""
        taken = f"{row.taken_by}, {row.taken_at:%Y-%m-%d %H:%M} UTC"
        said = _read(row.kind, row.document)
        return Result(
            row.id, row.kind, row.position, row.verdict, said, row.document["detail"], row.document["next"], taken
        )


def _read(kind: str, document: Mapping[str, Any]) -> Text:
    """Return what was read, one value after the other; of a series its first and its last pair."""
    said: list[str | Quantity] = []
    for each in document.get("values", ()):
        place = f"row {each['row']} " if each.get("row") else ""
        said += [", " if said else "", place, _word(kind, each["value"])]
    series = document.get("series", ())
    for pair in (series[0], series[-1]) if series else ():
        said += [" ... " if said else "", f"minute {pair['minute']:g}: ", pair["temperature"]]
    return tuple(said) or "none"


def _word(kind: str, value: Any) -> str | Quantity:
    """Return a value as it is read: a quantity, the word of an answer, what a tick says."""
    if isinstance(value, Quantity):
        return value
    if isinstance(value, bool):
        return "done" if kind == "confirmation" else "yes" if value else "no"
    return str(value).replace("_", " ")


@dataclass(frozen=True, slots=True)
class Filling:
    """What stands on a card that is filled in, besides its content.

    Parameters
    ----------
    forms : mapping of step number to its forms
        Each with kind, label, places, units, unit, positions, words, several, series, confirms.
    still_open : sequence of (step number, title, position)
        The hold points that are open.
    fault : str or None
        Why what was sent last was not taken; ``sent`` is what it was.
    """

    forms: Mapping[int, Sequence[Any]]
    results: Mapping[int, Sequence[Result]]
    still_open: Sequence[tuple[int, str, str | None]]
    by: str
    revision: int
    nonce: str
    until: datetime
    status: str
    fault: str | None
    sent: Mapping[str, str]
    paper: str

    @property
    def reasons(self) -> tuple[str, ...]:
        """Return why a reading may be taken back."""
        return REASONS

    @property
    def misplaced(self) -> bool:
        """Return whether what was sent last was not taken and belongs to no form of this card."""
        kinds = [form.kind for step, forms in self.forms.items() if self.faulty(step) for form in forms]
        return self.fault is not None and self.sent.get("kind") not in kinds

    def faulty(self, step: int) -> bool:
        """Return whether what was sent last for this step was not taken."""
        return self.fault is not None and self.sent.get("step") == str(step)

    def is_open(self, step: int) -> bool:
        """Return whether the hold point of a step is open."""
        return any(number == step for number, _, _ in self.still_open)

    def chosen(self, step: int, kind: str, name: str, word: str) -> bool:
        """Return whether a word was chosen in a form that was not taken."""
        return word in self.kept(step, kind, name).split("\n")

    def kept(self, step: int, kind: str, name: str, usual: str = "") -> str:
        """Return what was typed into a form that was not taken, so that it need not be typed again."""
        same = self.faulty(step) and self.sent.get("kind") == kind
        return self.sent.get(name, usual) if same else usual
