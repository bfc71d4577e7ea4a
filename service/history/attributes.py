"""Free attributes of a stay: what a site keeps beside our columns, named by the site, each name of one type."""

import re
import unicodedata
from collections.abc import Mapping
from math import isfinite
from typing import Any, Final

from service import record
from service.characters import TooManyMarks, composed
from service.errors import CannotEvaluate, shown
from service.words import AttributeType

MOST: Final = 20
"""Names of a site."""
LONGEST_TEXT: Final = 200
LARGEST: Final = 1e15
PREFIX: Final = "attributes."
"""How a name is written where it stands among other names: in columns, filters and groups."""
NAME: Final = r"[a-z][a-z0-9_]{0,39}"
_NAMED: Final = re.compile(NAME, re.ASCII).fullmatch
WORDS: Final[Mapping[AttributeType, str]] = {"text": "a text", "number": "a number", "flag": "true or false"}

Value = str | int | float | bool


class NotAValue(ValueError):
    """A value that no attribute can have; ``said`` says why."""

    def __init__(self, code: str, said: str) -> None:
        self.code, self.said = code, said
        super().__init__(said)


def is_name(name: object) -> bool:
    """Return whether a word can be the name of an attribute: small letters, digits, underscores, a letter first."""
    return isinstance(name, str) and _NAMED(name) is not None


def type_of(value: object) -> AttributeType | None:
    """Return the type of a JSON value, None where it has none that is taken."""
    if isinstance(value, bool):
        return "flag"
    if isinstance(value, int | float):
        return "number"
    return "text" if isinstance(value, str) else None


def attribute_value(value: object) -> Value:
    """Return a value as it is kept: texts in NFC without blanks around, whole numbers as such.

    Raises
    ------
    NotAValue
        ``wrong_type``, ``out_of_range``, ``bad_character``, ``wrong_length``
    """
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        if not (isfinite(value) and abs(value) <= LARGEST):
            raise NotAValue("out_of_range", f"{shown(value)} lies outside -1e15 to 1e15")
        return int(value) if float(value).is_integer() else float(value)
    if not isinstance(value, str):
        raise NotAValue("wrong_type", f"{shown(value)} is not a text, a number, true or false")
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in value):
        raise NotAValue("bad_character", "control characters and lone surrogates are refused")
    if len(value) > 4 * LONGEST_TEXT:  # no character is written with more than four, decomposed
        raise NotAValue("wrong_length", f"{len(value)} characters; 1 to {LONGEST_TEXT} are taken")
    try:
        text = composed(value).strip()
    except TooManyMarks as error:
        raise NotAValue("bad_character", str(error)) from None
    if not 1 <= len(text) <= LONGEST_TEXT:
        raise NotAValue("wrong_length", f"{len(text)} characters; 1 to {LONGEST_TEXT} are taken")
    return text


def as_type(value: Value, kind: AttributeType, name: str) -> Value:
    """Return the value where it has the type that the name has.

    Raises
    ------
    CannotEvaluate
        ``attribute_type_differs``
    """
    if type_of(value) != kind:
        said = f"{shown(value)} is not {WORDS[kind]}, which {name} takes at this site"
        raise CannotEvaluate(said, code="attribute_type_differs")
    return value


def attributes_text(values: Mapping[str, Value]) -> str | None:
    """Return attributes as they are stored, the same text for the same values; None for none."""
    return record.encoded(dict(values)) if values else None


def attributes_of(text: str | None) -> dict[str, Value]:
    """Return the attributes that ``attributes_text`` wrote."""
    found: dict[str, Value] = {} if text is None else record.decoded(text)
    return found


def named(prefixed: str) -> str | None:
    """Return NAME of ``attributes.NAME``, None where it is no such word."""
    name = prefixed.removeprefix(PREFIX)
    return name if prefixed.startswith(PREFIX) and is_name(name) else None


def as_shown(value: Any) -> str:
    """Return a value as a group of stays is called by it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:.15g}" if isinstance(value, int | float) else str(value)
