"""Catalogues: every sentence for people is one whole message in a table of its package, with {places} for facts.

``data/messages.toml`` of a package holds the English messages. A group in it makes a dotted name: the message ``why``
of ``[radial_load]`` is ``radial_load.why``. The name is the key by which another language finds its own.
"""

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from importlib.resources import files
from typing import Any, Final

from service.errors import TableError, Text
from service.findings import Blocked, Missing, Warned
from service.sentences import Fact, Sentence, said, sentence

_NO_FLAGS: frozenset[str] = frozenset()


class Catalogue:
    """The messages of one package, read when the first is said."""

    known: Final[list["Catalogue"]] = []

    def __init__(self, package: str) -> None:
        self.package = package
        self.known.append(self)

    @cached_property
    def messages(self) -> Mapping[str, Sentence]:
        """Return the messages by name."""
        return {name: sentence(text) for name, text in _named(contents(self.package))}

    def message(self, name: str, /, **facts: Fact) -> Text:
        """Return a message with its places filled.

        Raises
        ------
        TableError
            The catalogue has no such message, or a place of it is not filled.
        """
        text = self.known_message(name, **facts)
        if text is None:
            raise TableError(f"message {name} of {self.package}: a place is not filled")
        return text

    def known_message(self, name: str, /, **facts: Fact) -> Text | None:
        """Return a message of the catalogue; None where one of its places is not known."""
        found = self.messages.get(name)
        if found is None:
            raise TableError(f"no message {name} in {self.package}")
        return said(found, facts, _NO_FLAGS)

    def missing(self, name: str, field: str | None = None, /, **facts: Fact) -> Missing:
        """Return that a fact is missing, with the messages ``why`` and ``how`` of a group; the field is its name."""
        return Missing(field or name, self.message(f"{name}.why", **facts), self.message(f"{name}.how", **facts))

    def warned(self, code: str, name: str | None = None, /, **facts: Fact) -> Warned:
        """Return what may be read later, with the message ``detail`` of a group, the code's unless it is named."""
        return Warned(code, self.message(f"{name or code}.detail", **facts))

    def blocked(
        self,
        code: str,
        name: str | None = None,
        /,
        *,
        facts: Mapping[str, Any],
        at: str | None = None,
        **said_of: Fact,
    ) -> Blocked:
        """Return what must not be done like this, with ``detail`` and ``ways_out`` of a group.

        Parameters
        ----------
        facts : mapping
            The facts of the finding as data
        at : str or None
            The position, where it is that of one
        said_of : str or Quantity
            What fills the places
        """
        group = name or code
        ways_out = tuple(self.several(f"{group}.ways_out", **said_of))
        return Blocked(code, self.message(f"{group}.detail", **said_of), ways_out, facts, at)

    def several(self, group: str, /, **facts: Fact) -> Iterator[Text]:
        """Yield the messages of a list."""
        number = 1
        while (name := f"{group}.{number}") in self.messages:
            yield self.message(name, **facts)
            number += 1

    def listed(self, items: Iterable[Text]) -> Text | None:
        """Return ``a, b and c`` by the messages ``list_more`` and ``list_last``; None for nothing."""
        found: Text | None = None
        each = list(items)
        for index, item in enumerate(each):
            name = "list_last" if index == len(each) - 1 else "list_more"
            found = item if found is None else self.message(name, first=found, next=item)
        return found


def contents(package: str) -> Mapping[str, Any]:
    """Return what the file of a package holds."""
    path = files(package) / "data" / "messages.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _named(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield each message by its dotted name; those of a list by their number, from 1."""
    for name, value in table.items():
        if isinstance(value, list):
            yield from ((f"{prefix}{name}.{number}", each) for number, each in enumerate(value, 1))
        elif isinstance(value, Mapping) and "say" not in value:
            yield from _named(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", value
