"""What readings are told: whole messages of the catalogue ``data/messages.toml``, never put together in code."""

from typing import Final

from service.catalogue import Catalogue
from service.errors import Text
from service.mounting.readings import Verdict
from service.sentences import Fact

_SAYS: Final = Catalogue("service.instructions.readings")


def message(name: str, part: str = "detail", /, **facts: Fact) -> Text:
    """Return a message with its places filled.

    Raises
    ------
    TableError
        The catalogue has no such message, or a place of it is not filled.
    """
    return _SAYS.message(f"{name}.{part}", **facts)


def verdict(worth: str, code: str | None, name: str, /, **facts: Fact) -> Verdict:
    """Return a verdict whose two sentences are those of a message."""
    return Verdict(worth, code, (), None, message(name, **facts), message(name, "next", **facts))
