"""Whether two names may be those of one person."""

import unicodedata


def same_person(one: str, other: str) -> bool:
    """Return whether two names may be those of one person: the same words, however they are set, or no word at all."""
    words, others = _words(one), _words(other)
    return not words or not others or words == others


def _words(name: str) -> list[str]:
    """Return the words of a name in one form: no case, no width, no points, in the order of the alphabet."""
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
    visible = "".join(c for c in plain if unicodedata.category(c) != "Cf")
    return sorted("".join(c if c.isalnum() else " " for c in visible).split())
