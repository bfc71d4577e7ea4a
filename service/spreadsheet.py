"""What a spreadsheet would run, and how a cell is written so that it does not: said once for every CSV.

Common advice against formula injection (OWASP, "CSV Injection"): a cell that begins with one of these is not text.
"""

from typing import Final

FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")
"""What a text begins with that a spreadsheet takes for a formula."""
GUARD: Final = "'"
_GUARDED: Final = (*FORMULA_SIGNS, GUARD)


def inert(text: str) -> str:
    """Return the text as a cell that no spreadsheet takes for a formula; it is not read back."""
    return GUARD + text if text.startswith(FORMULA_SIGNS) else text


def guarded(text: str) -> str:
    """Return the text as an inert cell that ``unguarded`` reads back: a text that begins with a guard has one more."""
    return GUARD + text if text.startswith(_GUARDED) else text


def unguarded(cell: str) -> str:
    """Return what a text cell said before it was guarded."""
    return cell[1:] if cell.startswith(GUARD) and cell[1:2] in _GUARDED else cell
