"""Sentences with places for facts: how the step tables say what a step says.

A sentence is one whole message with ``{name}`` where a fact goes; no sentence is put together from pieces in code, so
that another language can put its words in another order. It is said only when its conditions hold. Where a fact is not
known the ``without`` sentence is said in its place, or nothing: nothing unknown is ever printed.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from service.errors import TableError, Text
from service.units import Quantity

_PLACE: Final = re.compile(r"\{([a-z0-9_]+)\}")
_MEMBERS: Final = frozenset(("say", "when", "without", "apart"))

Fact = str | int | Quantity | tuple["str | Quantity", ...] | None
Facts = Mapping[str, Fact]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fact goes."""

    name: str


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of a step: words and places, its conditions, and what is said when a fact is not known.

    ``apart``: what is said once for several positions whose facts differ; the facts then stand beside each position.
    ``fixed``: the words of a sentence without places.
    """

    parts: tuple[str | Place, ...]
    when: tuple[str, ...] = ()
    without: "Sentence | None" = None
    apart: "Sentence | None" = None
    names: frozenset[str] = field(default=frozenset())
    fixed: str | None = None

    @property
    def message(self) -> str:
        """Return the sentence as it is written in the table."""
        return "".join(part if isinstance(part, str) else f"{{{part.name}}}" for part in self.parts)

    def branches(self) -> Iterable["Sentence"]:
        """Yield the sentence and those that may be said in its place."""
        yield self
        for other in (self.without, self.apart):
            if other is not None:
                yield from other.branches()


def sentence(given: str | Mapping[str, Any]) -> Sentence:
    """Return the sentence written in a table: text alone, or {say, when?, without?, apart?}.

    Raises
    ------
    TableError
        A member is unknown, or ``say`` is not there.
    """
    facts: Mapping[str, Any] = {"say": given} if isinstance(given, str) else given
    if set(facts) - _MEMBERS or not isinstance(facts.get("say"), str):
        raise TableError(f"a sentence has say, when, without and apart only: {dict(facts)!r}")
    without, apart = facts.get("without"), facts.get("apart")
    parts = _parts(facts["say"])
    places = frozenset(part.name for part in parts if isinstance(part, Place))
    return Sentence(
        parts=parts,
        when=tuple(facts.get("when", ())),
        without=None if without is None else sentence(without),
        apart=None if apart is None else sentence(apart),
        names=places,
        fixed=None if places else facts["say"],
    )


def sentences(given: str | Mapping[str, Any] | Iterable[str | Mapping[str, Any]]) -> tuple[Sentence, ...]:
    """Return the sentences written in a table, one or a list of them."""
    if isinstance(given, str | Mapping):
        return (sentence(given),)
    return tuple(sentence(each) for each in given)


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


def said(each: Sentence, facts: Facts, flags: frozenset[str]) -> Text | None:
    """Return what a sentence says; None where its conditions do not hold, or a fact is not known and nothing is said
    in its place."""
    if each.when and not holds(each.when, flags):
        return None
    if each.fixed is not None:
        return each.fixed or None
    parts: list[str | Quantity] = []
    for part in each.parts:
        value: Fact = part if type(part) is str else facts.get(part.name)  # type: ignore[union-attr]
        if value is None or value == "":
            return None if each.without is None else said(each.without, facts, flags)
        if isinstance(value, tuple):
            parts.extend(value)
        else:
            parts.append(value if isinstance(value, str | Quantity) else str(value))
    return joined(parts)


def filled(given: Iterable[Sentence], facts: Facts, flags: frozenset[str]) -> Text:
    """Return the sentences that apply as one text, a blank between them."""
    return spaced(text for each in given if (text := said(each, facts, flags)) is not None)


def spaced(texts: Iterable[Text]) -> Text:
    """Return whole sentences as one text, a blank between them."""
    parts: list[str | Quantity] = []
    for text in texts:
        if parts:
            parts.append(" ")
        parts.extend((text,) if isinstance(text, str) else text)
    return joined(parts)


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
