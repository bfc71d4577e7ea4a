"""Numbers of a sheet as we write them: which mark is the decimal mark, and lengths in millimetres.

A mark that may part thousands or decimals is never guessed: 1.234 is 1,234 in one office and 1.234 in the next.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from service.errors import shown

THOUSANDS: Final = (".", ",", " ", "'", "_")
"""Marks that may stand between thousands; a space also as a no-break space, plain or narrow"""
MM_IN: Final = {"um": Decimal("0.001"), "in": Decimal("25.4"), "thou": Decimal("0.0254"), "mm": Decimal(1)}
"""Exact: 1 in = 25.4 mm (international inch), 1 thou = 0.001 in"""
_SPACES: Final = {"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2019": "'"}
_PLAIN: Final = re.compile(r"-?\d{1,15}(\.\d{1,15})?", re.ASCII).fullmatch
_GROUP: Final = re.compile(r"-?[1-9]\d{0,2}[.,]\d{3}", re.ASCII).fullmatch
_MARKED: Final = re.compile(r"-?\d+([.,])\d+", re.ASCII).fullmatch


class DoubtfulNumber(ValueError):
    """A number of a sheet that is none, or that may be two; ``code`` with a sentence."""

    def __init__(self, code: str, said: str) -> None:
        self.code, self.said = code, said
        super().__init__(said)


@dataclass(frozen=True, slots=True)
class Marks:
    """How a column writes its numbers.

    ``decimal`` and ``thousands`` are what a profile says; without, ``proven`` are the marks that some cell of the
    column can have for decimals only, and ``comma`` whether a comma may be a decimal mark at all.
    """

    decimal: str | None = None
    thousands: str | None = None
    proven: frozenset[str] = frozenset()
    comma: bool = False

    def plain(self, text: str) -> str:
        """Return the number with a point for the decimal mark and nothing between thousands; "-5.5".

        Raises
        ------
        DoubtfulNumber
            ``wrong_type``: no number; ``ambiguous_mark``: a mark that may part decimals or thousands.
        """
        text = _spaced(text)
        if self.decimal is not None or self.thousands is not None:
            return self._as_said(text)
        match = _MARKED(text)
        if match is None or (match[1] == "," and not self.comma):
            if _PLAIN(text):
                return text
            raise DoubtfulNumber("wrong_type", _no_number(text))
        mark = match[1]
        if self.comma and _GROUP(text) and self.proven != {mark}:
            raise DoubtfulNumber("ambiguous_mark", _ambiguous(text, mark))
        return _checked(text.replace(mark, "."), text)

    def _as_said(self, text: str) -> str:
        decimal = self.decimal or ("," if self.thousands == "." else ".")
        whole, mark, rest = text.partition(decimal)
        if self.thousands is not None and self.thousands in whole:
            parts = whole.removeprefix("-").split(self.thousands)
            if not 1 <= len(parts[0]) <= 3 or any(len(part) != 3 for part in parts[1:]):
                said = f"{shown(text)}: {self.thousands!r} parts thousands here, so three digits stand behind each"
                raise DoubtfulNumber("wrong_type", said)
            whole = whole.replace(self.thousands, "")
        if mark and not rest:
            raise DoubtfulNumber("wrong_type", _no_number(text))
        plain = f"{whole}.{rest}" if mark else whole
        other = [each for each in THOUSANDS if each in whole.removeprefix("-") or each in rest]
        if other:
            said = (
                f"{shown(text)} has {other[0]!r}, which the profile names neither as decimal_mark nor as thousands_mark"
            )
            raise DoubtfulNumber("ambiguous_mark", said)
        return _checked(plain, text)


def marks_of(cells: Sequence[str], *, comma: bool) -> Marks:
    """Return how a column writes its numbers, by its own cells; ``comma``: a comma may be a decimal mark here."""
    proven: set[str] = set()
    for cell in cells if comma else ():
        match = _MARKED(_spaced(cell))
        if match is not None and not _GROUP(_spaced(cell)):
            proven.add(match[1])
            if len(proven) == 2:
                break
    return Marks(proven=frozenset(proven), comma=comma)


def in_millimetres(plain: str, unit: str) -> str:
    """Return a length in millimetres, exactly, of a plain number in mm, um, in or thou."""
    text = format(Decimal(plain) * MM_IN[unit], "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _spaced(text: str) -> str:
    text = text.strip()
    return text if text.isascii() else "".join(_SPACES.get(sign, sign) for sign in text)


def _checked(plain: str, text: str) -> str:
    if not _PLAIN(plain):
        raise DoubtfulNumber("wrong_type", _no_number(text))
    return plain


def _no_number(text: str) -> str:
    return f"{shown(text)} is not a number such as 0.065"


def _ambiguous(text: str, mark: str) -> str:
    one, other = text.replace(mark, ""), text.replace(mark, ".")
    return (
        f"{shown(text)} may be {one} or {other}: the column does not show whether {mark!r} parts decimals or "
        "thousands; say decimal_mark and thousands_mark in an import profile"
    )
