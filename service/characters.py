"""Texts in one form (NFC), in time that grows with their length."""

import re
import unicodedata
from typing import Final

MOST_MARKS: Final = 30
"""Combining characters in a row: Unicode Standard Annex 15, 13, Stream-Safe Text Format. Writing needs a few."""
_NO_MARKS: Final = re.compile(r"[\x00-\u02ff]*").fullmatch
"""No combining character comes before U+0300 (Unicode Standard, Combining Diacritical Marks)."""


class TooManyMarks(ValueError):
    """More combining characters stand in a row than any writing needs."""


def composed(text: str) -> str:
    """Return the text in NFC.

    Marks are put in order by comparing neighbours, so that a long row of them takes the square of its length: 80 kB
    held a processor for twenty seconds. Hence they are counted first.

    Raises
    ------
    TooManyMarks
        More than ``MOST_MARKS`` combining characters in a row.
    """
    if text.isascii():
        return text
    if _NO_MARKS(text) is None:
        in_a_row = 0
        for character in text:
            in_a_row = in_a_row + 1 if unicodedata.combining(character) else 0
            if in_a_row > MOST_MARKS:
                raise TooManyMarks(f"more than {MOST_MARKS} combining characters stand in a row")
    return unicodedata.normalize("NFC", text)
