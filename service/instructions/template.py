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
        parts = _said(each, facts, flags)
        if parts:
            said.extend((" ", *parts) if said else parts)
    return joined(said)


def _said(each: Sentence, facts: Facts, flags: frozenset[str]) -> tuple[str | Quantity, ...]:
    if each.when and not holds(each.when, flags):
        return ()
    if each.fixed is not None:
        return (each.fixed,) if each.fixed else ()
    unknown = [name for name in each.names if facts.get(name) is None]
    if unknown:
        if each.without is not None:
            return _said(each.without, facts, flags)
        if each.optional:
            return ()
        raise TableError(f"nothing is said for want of {', '.join(sorted(unknown))}: {each.parts!r}")
    said: list[str | Quantity] = []
    for part in each.parts:
        value = facts[part.name] if isinstance(part, Place) else part
        if isinstance(value, tuple):
            said.extend(value)
        elif isinstance(value, (str, Quantity)):
            said.append(value)
        else:
            said.append(str(value))
    return tuple(said)


def joined(parts: Iterable[str | Quantity]) -> Text:
    """Return words and quantities with neighbouring words run together; a plain string when all are words."""
    merged: list[str | Quantity] = []
    words: list[str] = []
    for part in parts:
        if isinstance(part, str):
            words.append(part)
            continue
        text = "".join(words)
        if text:
            merged.append(text)
        words.clear()
        merged.append(part)
    text = "".join(words)
    if not merged:
        return text
    if text:
        merged.append(text)
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
