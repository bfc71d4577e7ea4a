"""Whether two names may be those of one person."""

import unicodedata
from functools import lru_cache
from typing import Final

from service.instructions.readings.look_alikes import skeleton

NAMES_KEPT: Final = 4096


def same_person(one: str, other: str) -> bool:
    """Return whether two names may be those of one person.

    They are when they are the same words, however they are set, or look like the same words (B and the Cyrillic letter
    of its shape, l and I, rn and m), and where one of them holds no word at all.
    """
    words, others = _words(one), _words(other)
    if not words or not others or words == others:
        return True
    return not _looks(one).isdisjoint(_looks(other))


def _words(name: str) -> list[str]:
    """Return the words of a name in one form: no case, no width, no points, in the order of the alphabet."""
    return _sorted(unicodedata.normalize("NFKC", _plain(name).casefold()))


@lru_cache(NAMES_KEPT)
def _looks(name: str) -> frozenset[tuple[str, ...]]:
    """Return the words of a name by their looks: set small first, and as they stand.

    Both, since the small letter of a look-alike need not look alike: the Cyrillic В is a B, its small в is no b.
    """
    plain = _plain(name)
    small = skeleton(unicodedata.normalize("NFKC", plain.casefold()))
    as_set = skeleton(skeleton(plain).casefold())
    return frozenset((tuple(_sorted(small, marks=True)), tuple(_sorted(as_set, marks=True))))


def _plain(name: str) -> str:
    """Return the name without width and without what nobody sees."""
    return "".join(c for c in unicodedata.normalize("NFKC", name) if unicodedata.category(c) != "Cf")


def _sorted(text: str, *, marks: bool = False) -> list[str]:
    """Return the words in the order of the alphabet; ``marks``: what stands on a letter belongs to the word."""
    kept = (c if c.isalnum() or (marks and unicodedata.category(c)[0] == "M") else " " for c in text)
    return sorted("".join(kept).split())
