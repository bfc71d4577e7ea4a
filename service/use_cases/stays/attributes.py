"""Attributes of stays that are imported: held against the types of their names; new names take the type they show.

JSON shows it with every value. A CSV shows it with the whole column: only true and false make a flag, only numbers
(none with a zero in front, as article numbers have) a number, anything else a text.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate
from service.history.attributes import (
    LARGEST,
    PREFIX,
    WORDS,
    Value,
    as_type,
    attribute_value,
    attributes_text,
    type_of,
)
from service.use_cases.stays.faults import RowFault
from service.words import AttributeType

_NUMBER: Final = re.compile(r"-?(0|[1-9]\d{0,15})([.,]\d{1,17})?([eE][+-]?\d{1,3})?", re.ASCII).fullmatch
FLAGS: Final = {"true": True, "false": False}

Sent = Sequence[Mapping[str, Any] | None]
"""Attributes row by row as they were sent; in a CSV all values are texts."""


@dataclass(frozen=True, slots=True)
class Settled:
    """Attributes as they are stored row by row, names that are new with their types, faults and notes."""

    texts: list[str | None]
    new: dict[str, AttributeType]
    faults: list[RowFault]
    notes: list[RowFault]


def settled(sent: Sent, known: Mapping[str, AttributeType], *, words: bool, decimal_comma: bool) -> Settled:
    """Return the attributes of all rows, held against the types of their names.

    Parameters
    ----------
    known : dict of str
        The types of the names that the site has.
    words : bool
        All values are texts, as in a CSV.
    decimal_comma : bool
        Numbers may be written with a comma.
    """
    new, notes = _new(sent, known, words=words, decimal_comma=decimal_comma)
    types = {**known, **new}
    texts: list[str | None] = []
    faults: list[RowFault] = []
    for row, of_row in enumerate(sent, start=1):
        held: dict[str, Value] = {}
        for name, value in (of_row or {}).items():
            try:
                read = _of_words(value, types[name], decimal_comma) if words else value
                held[name] = as_type(read, types[name], name)
            except CannotEvaluate as wrong:
                faults.append(RowFault(row, f"{PREFIX}{name}", value, wrong.code, str(wrong)))
        texts.append(attributes_text(held))
    return Settled(texts, new, faults, notes)


def _new(
    sent: Sent, known: Mapping[str, AttributeType], *, words: bool, decimal_comma: bool
) -> tuple[dict[str, AttributeType], list[RowFault]]:
    """Return the types of names that come for the first time, and a note on each."""
    first: dict[str, tuple[int, Any]] = {}
    shown: dict[str, set[AttributeType]] = {}
    for row, of_row in enumerate(sent, start=1):
        for name, value in (of_row or {}).items():
            if name not in known:
                first.setdefault(name, (row, value))
                shows = _shown_by_words(value, decimal_comma) if words else type_of(value)
                shown.setdefault(name, set()).add(shows or "text")
    new: dict[str, AttributeType] = {}
    notes = []
    for name, (row, value) in first.items():
        of_first: AttributeType = type_of(value) or "text"
        of_column: AttributeType = next(iter(shown[name])) if len(shown[name]) == 1 else "text"
        new[name] = of_column if words else of_first
        said = f"{name} is new at this site: from now on it takes {WORDS[new[name]]}"
        notes.append(RowFault(row, f"{PREFIX}{name}", value, "attribute_named", said))
    return new, notes


def _shown_by_words(text: str, decimal_comma: bool) -> AttributeType:
    if text in FLAGS:
        return "flag"
    return "number" if _number(text, decimal_comma) is not None else "text"


def _of_words(text: str, kind: AttributeType, decimal_comma: bool) -> Value:
    """Return what a cell says where its name has this type; the cell itself where it says no such thing."""
    if kind == "flag":
        return FLAGS.get(text, text)
    number = _number(text, decimal_comma) if kind == "number" else None
    return text if number is None else attribute_value(number)


def _number(text: str, decimal_comma: bool) -> float | None:
    if not _NUMBER(text) or ("," in text and not decimal_comma):
        return None
    number = float(text.replace(",", "."))
    return number if abs(number) <= LARGEST else None
