"""Sentences with places for facts: how the step tables say what a step says.

A sentence is plain text with ``{name}`` where a fact goes. It is said only when its conditions hold; where a fact
is not known it is replaced by its ``without`` sentence, which says what to get. Nothing unknown is ever printed.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from service.errors import TableError, Text
from service.units import Quantity

_PLACE: Final = re.compile(r"\{([a-z0-9_]+)\}")

Fact = str | int | Quantity | tuple["str | Quantity", ...] | None
Facts = Mapping[str, Fact]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fact goes."""

    name: str


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of a step: words and places, its conditions, and what is said when a fact is not known.

    ``fixed``: the words of a sentence without places.
    """

    parts: tuple[str | Place, ...]
    when: tuple[str, ...] = ()
    without: "Sentence | None" = None
    optional: bool = False
    names: frozenset[str] = field(default=frozenset())
    fixed: str | None = None


def sentence(given: str | Mapping[str, Any]) -> Sentence:
    """Return the sentence written in a table: text alone, or {say, when?, without?, optional?}.

    Raises
    ------
    TableError
        A member is unknown, or ``say`` is not there.
    """
    facts: Mapping[str, Any] = {"say": given} if isinstance(given, str) else given
    unknown = set(facts) - {"say", "when", "without", "optional"}
    if unknown or not isinstance(facts.get("say"), str):
        raise TableError(f"a sentence has say, when, without and optional only: {dict(facts)!r}")
    without = facts.get("without")
    parts = _parts(facts["say"])
    return Sentence(
        parts=parts,
        when=tuple(facts.get("when", ())),
        without=None if without is None else sentence(without),
        optional=bool(facts.get("optional", False)),
        names=frozenset(part.name for part in parts if isinstance(part, Place)),
        fixed="".join(str(part) for part in parts) if not any(isinstance(part, Place) for part in parts) else None,
    )


def _parts(text: str) -> tuple[str | Place, ...]:
    pieces = _PLACE.split(text)
    parts: list[str | Place] = []
    for index, piece in enumerate(pieces):
        if index % 2:
            parts.append(Place(piece))
        elif piece:
            parts.append(piece)
    return tuple(parts)


def holds(when: Iterable[str], flags: frozenset[str]) -> bool:
    """Return whether all conditions hold; ``!flag`` holds where the flag is not set."""
    for name in when:  # noqa: SIM110  asked thousands of times for one plan; all(...) costs three times as much
        if (name[1:] in flags) if name[0] == "!" else (name not in flags):
            return False
    return True


def filled(sentences: Iterable[Sentence], facts: Facts, flags: frozenset[str]) -> Text:
    """Return the sentences that apply as one text, a blank between them.

    Raises
    ------
    TableError
        A fact is not known and the sentence does not say what to do without it.
    """
    said: list[str | Quantity] = []
    for each in sentences:
        if each.when and not holds(each.when, flags):
            continue
        before = len(said)
        if each.fixed is not None:
            if each.fixed:
                said.append(each.fixed)
        else:
            _say(said, each, facts, flags)
        if before and len(said) > before:
            said.insert(before, " ")
    return joined(said)


def _say(said: list[str | Quantity], each: Sentence, facts: Facts, flags: frozenset[str]) -> None:
    """Add a sentence with places, or what is said without a fact of it."""
    before = len(said)
    for part in each.parts:
        value = part if type(part) is str else facts.get(part.name)  # type: ignore[union-attr]
        if value is None:
            del said[before:]
            _say_without(said, each, facts, flags)
            return
        if isinstance(value, tuple):
            said.extend(value)
        else:
            said.append(value if isinstance(value, str | Quantity) else str(value))


def _say_without(said: list[str | Quantity], each: Sentence, facts: Facts, flags: frozenset[str]) -> None:
    """Add what is said for want of a fact."""
    if each.without is not None:
        if holds(each.without.when, flags):
            _say(said, each.without, facts, flags)
    elif not each.optional:
        unknown = sorted(name for name in each.names if facts.get(name) is None)
        raise TableError(f"nothing is said for want of {', '.join(unknown)}: {each.parts!r}")


def joined(parts: Iterable[str | Quantity]) -> Text:
    """Return words and quantities with neighbouring words run together; a plain string when all are words."""
    merged: list[str | Quantity] = []
    words = ""
    for part in parts:
        if isinstance(part, str):
            words += part
            continue
        if words:
            merged.append(words)
            words = ""
        merged.append(part)
    if not merged:
        return words
    if words:
        merged.append(words)
    return tuple(merged)


def listed(items: Iterable[Text], last: str = " and ") -> Text:
    """Return ``a, b and c``."""
    texts = [(item,) if isinstance(item, str) else item for item in items]
    parts: list[str | Quantity] = []
    for index, item in enumerate(texts):
        if index:
            parts.append(last if index == len(texts) - 1 else ", ")
        parts.extend(item)
    return joined(parts)
