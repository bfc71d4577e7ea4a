"""What the planning of a job says: whole messages of the catalogue ``data/messages.toml``."""

import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files

from service.errors import Text
from service.instructions.plan.template import Fact, Sentence, filled, sentence


@cache
def _catalogue() -> Mapping[str, Sentence]:
    path = files("service.instructions.planning") / "data" / "messages.toml"
    loaded = tomllib.loads(path.read_text(encoding="utf-8"))
    return {name: sentence(said) for name, said in loaded.items()}


def message(name: str, /, **facts: Fact) -> Text:
    """Return a message with its places filled.

    Raises
    ------
    KeyError
        The catalogue has no such message.
    """
    return filled((_catalogue()[name],), facts, frozenset())


def listed(items: Iterable[Text]) -> Text | None:
    """Return ``a, b, c``; None for nothing."""
    found: Text | None = None
    for item in items:
        found = item if found is None else message("more", first=found, next=item)
    return found
