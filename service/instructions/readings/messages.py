"""What readings are told: whole messages of the catalogue ``data/messages.toml``, never put together in code."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from service.errors import Text
from service.instructions.plan.template import Fact, Sentence, filled, sentence
from service.mounting.readings import Verdict


@cache
def _catalogue() -> Mapping[str, Mapping[str, Sentence]]:
    path = files("service.instructions.readings") / "data" / "messages.toml"
    loaded = tomllib.loads(path.read_text(encoding="utf-8"))
    return {name: {part: sentence(text) for part, text in said.items()} for name, said in loaded.items()}


def message(name: str, part: str = "detail", /, **facts: Fact) -> Text:
    """Return a message with its places filled.

    Raises
    ------
    KeyError
        The catalogue has no such message.
    TableError
        A place of it is not filled.
    """
    return filled((_catalogue()[name][part],), facts, frozenset())


def verdict(worth: str, code: str | None, name: str, /, **facts: Fact) -> Verdict:
    """Return a verdict whose two sentences are those of a message."""
    return Verdict(worth, code, (), None, message(name, **facts), message(name, "next", **facts))
