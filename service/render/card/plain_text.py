"""Plain text within a width: wrapping that never cuts a number from its unit, and 7-bit transliteration."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from typing import Final

from service.errors import Text
from service.render.present import quantity_text
from service.units import Quantity
from service.words import UnitSystem

BOUND: Final = "\x1f"
"""Stands between a number and its unit until the lines are broken."""

_ASCII: Final = str.maketrans(
    {
        "°": "deg",
        "µ": "u",
        "μ": "u",
        "–": "-",
        "—": "-",
        "−": "-",
        "‐": "-",
        "‑": "-",
        "‘": "'",
        "’": "'",
        "“": '"',
        "”": '"',
        "„": '"',
        "«": '"',
        "»": '"',
        "×": "x",
        "±": "+/-",
        "≤": "<=",
        "≥": ">=",
        "…": "...",
        "ß": "ss",
        "æ": "ae",
        "Æ": "AE",
        "ø": "o",
        "Ø": "O",
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "œ": "oe",
    }
)


def cleaned(text: str, *, ascii_only: bool) -> str:
    """Return words without control characters, which could redraw a terminal; in ASCII where asked.

    A letter that has no ASCII form is written as its escape (``\\u4e2d``), so that nothing is lost.
    """
    text = " ".join(text.split())
    if text.isascii() and text.isprintable():
        return text
    text = "".join(map(_visible, text))
    if not ascii_only:
        return text
    plain = unicodedata.normalize("NFKD", text.translate(_ASCII)).translate(_ASCII)
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return plain.encode("ascii", "backslashreplace").decode("ascii")


def _visible(char: str) -> str:
    category = unicodedata.category(char)
    if category in ("Cc", "Cf", "Cs", "Co", "Cn"):
        return char.encode("ascii", "backslashreplace").decode("ascii") if ord(char) > 127 else f"\\x{ord(char):02x}"
    return " " if category.startswith("Z") else char


_BOUND_NUMBER: Final = re.compile(rf"(\(?-?[\d.]+{BOUND}[A-Za-z./_]+[).,;:]*){BOUND}?")
"""A number bound to its unit, with the punctuation that stands at it."""


_LOOSE_NUMBER: Final = re.compile(r"(?<=\d) (?=(?:%|mm|um|in|K|h|minutes|hours|x)(?![A-Za-z]))")
"""The blank between a number and its unit in a sentence that carries them as words."""


class Writer:
    """Writes words and quantities in one unit system, within a width."""

    def __init__(self, *, units: UnitSystem, width: int, ascii_only: bool) -> None:
        self.units = units
        self.width = width
        self.ascii_only = ascii_only

    def words(self, text: Text | Quantity | None) -> str:
        """Return a text on one line, numbers bound to their units."""
        if text is None:
            return ""
        parts = text if isinstance(text, tuple) else (text,)
        said = "".join(self.quantity(part) if isinstance(part, Quantity) else self._kept(part) for part in parts)
        return _LOOSE_NUMBER.sub(BOUND, said)

    def quantity(self, quantity: Quantity) -> str:
        """Return a quantity in both unit systems, bound together."""
        return quantity_text(quantity, self.units).replace(" ", BOUND)

    def _kept(self, part: str) -> str:
        """Clean words but keep the blanks at their ends: a sentence is put together from parts."""
        if not part.strip():
            return part
        lead = " " if part[0].isspace() else ""
        tail = " " if part[-1].isspace() else ""
        return f"{lead}{cleaned(part, ascii_only=self.ascii_only)}{tail}"

    def lines(self, text: Text, *, first: str = "", rest: str = "") -> list[str]:
        """Return a text broken into lines, ``first`` before the first line and ``rest`` before the others."""
        return list(self._broken(self.words(text), first, rest))

    def _broken(self, text: str, first: str, rest: str) -> Iterator[str]:
        line, used, empty = first, columns(first), True
        for word in _pieces(text, self.width - max(columns(first), columns(rest))):
            needed = columns(word)
            if empty:
                line, used, empty = line + word, used + needed, False
            elif used + 1 + needed <= self.width:
                line, used = f"{line} {word}", used + 1 + needed
            else:
                yield line
                line, used = rest + word, columns(rest) + needed
        if not empty or first.strip():
            yield line if not empty else first.rstrip()

    def ruler(self, char: str = "-") -> str:
        """Return a line across the card."""
        return char * self.width


def _pieces(text: str, room: int) -> Iterator[str]:
    """Yield what may stand at the start of a line; only a word longer than a line is cut, never a number."""
    for word in text.split(" "):
        if not word:
            continue
        if columns(word) <= room:
            yield word
        elif BOUND in word:
            yield from _bound_pieces(word, room)
        else:
            yield from _cut(word, room)


def _bound_pieces(word: str, room: int) -> Iterator[str]:
    """Yield a word that holds quantities and does not fit on one line, cut beside them and never inside."""
    place = 0
    for found in _BOUND_NUMBER.finditer(word):
        yield from _cut(word[place : found.start()], room)
        yield from (found[1],) if columns(found[1]) <= room else _cut(found[1], room)
        place = found.end()
    yield from _cut(word[place:], room)


def _cut(word: str, room: int) -> Iterator[str]:
    piece = ""
    for char in word:
        if columns(piece) + columns(char) > room:
            yield piece
            piece = ""
        piece += char
    if piece:
        yield piece


def columns(text: str) -> int:
    """Return how many columns a text takes in a fixed-width type, wide letters counted twice."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text
    )


def unbound(lines: Iterable[str]) -> list[str]:
    """Return the lines with ordinary blanks between numbers and units."""
    return [line.replace(BOUND, " ") for line in lines]
