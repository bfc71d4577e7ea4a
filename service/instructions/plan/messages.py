"""The catalogue: facts that are several words long, questions and findings, as whole messages with named places.

``data/messages.toml`` holds the English messages; each is the key by which a catalogue of another language finds its
own.
"""

import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from service.errors import TableError, Text
from service.instructions.plan.template import Fact, Sentence, said, sentence
from service.units import Quantity

_NO_FLAGS: frozenset[str] = frozenset()


@cache
def messages() -> Mapping[str, Sentence]:
    """Return the messages of the catalogue by id."""
    return {name: sentence(text) for name, text in table("messages")["messages"].items()}


def table(name: str) -> Mapping[str, Any]:
    """Return one of the data files of the plan."""
    return _contents(name)


def _contents(name: str) -> Mapping[str, Any]:
    path = files("service.instructions.plan") / "data" / f"{name}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def message(name: str, /, **facts: Fact | Text) -> Text:
    """Return a message of the catalogue with its places filled.

    Raises
    ------
    TableError
        The catalogue has no such message, or a place of it is not filled.
    """
    text = known_message(name, **facts)
    if text is None:
        raise TableError(f"message {name}: a place is not filled")
    return text


def known_message(name: str, /, **facts: Fact | Text) -> Text | None:
    """Return a message of the catalogue; None where one of its places is not known."""
    found = messages().get(name)
    if found is None:
        raise TableError(f"no message {name}")
    return said(found, facts, _NO_FLAGS)


def between(bounds: Mapping[str, Any] | None) -> Text | None:
    """Return ``min to max``; None when either is not known."""
    if bounds is None:
        return None
    return known_message("range", min=bounds.get("min"), max=bounds.get("max"))


def listed(items: Iterable[Text]) -> Text | None:
    """Return ``a, b and c``; None for nothing."""
    found: Text | None = None
    each = list(items)
    for index, item in enumerate(each):
        if found is None:
            found = item
        else:
            found = message("list_last" if index == len(each) - 1 else "list_more", first=found, next=item)
    return found


def stack(blades: Iterable[Quantity] | None) -> Text | None:
    """Return the blades of one stack by their stamps; None for none."""
    found: Text | None = None
    for blade in blades or ():
        found = (blade,) if found is None else message("stack", first=found, next=blade)
    return found
