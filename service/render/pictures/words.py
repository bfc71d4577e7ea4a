"""The words of pictures: texts and quantities in the reader's units, a number never broken from its unit."""

from collections.abc import Mapping
from typing import Any

from service.render.card.plain_text import BOUND, Writer
from service.words import UnitSystem


class Said:
    """Says a text of a record on one line, cleaned of control characters."""

    def __init__(self, units: UnitSystem) -> None:
        self.units = units
        self._writer = Writer(units=units, width=80, ascii_only=False)

    def __call__(self, text: Any) -> str:
        return self._writer.words(text).replace(BOUND, "\u00a0")


def parts(text: Any) -> tuple[Any, ...]:
    """Return a text as a tuple of words and quantities."""
    return text if isinstance(text, tuple) else (text,)


def stop_words(blocked: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return what is said of something that must not be done like this, with its ways out."""
    ways = [part for way in blocked["ways_out"] for part in (" Way out: ", *ended(way))]
    return ("STOP: ", *ended(blocked["detail"]), *ways)


def ended(text: Any) -> tuple[Any, ...]:
    """Return a text that ends as a sentence does."""
    words = parts(text)
    last = words[-1] if words else ""
    return words if isinstance(last, str) and last.endswith((".", "?", "!")) else (*words, ".")
