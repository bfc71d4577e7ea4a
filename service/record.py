"""Unit-neutral records: how answers and plans are stored and hashed.

A record is a tree of dicts, lists, strings, numbers, booleans and None, with two more leaves: ``Quantity``, and a
tuple of words and quantities (``Text``). ``encoded`` writes it as canonical JSON, ``decoded`` reads it back to the
same tree, ``sha256`` names it. Which units a reader sees is decided afterwards, in ``service.render``.
"""

import json
from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256 as _sha256
from math import isfinite
from typing import Any, Final

import orjson

from service.units import KINDS, Quantity

Record = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Kept:
    """A record with its canonical JSON at hand, and members that stand beside its own: for answers, not for storing.

    ``members`` is not empty.
    """

    members: Record
    text: str


def encoded(record: Any) -> str:
    """Return canonical JSON: members sorted, no blanks, no NaN.

    Raises
    ------
    ValueError
        A number is NaN or infinite.
    TypeError
        The tree holds something else than a record may.
    """
    return orjson.dumps(plain(record), option=orjson.OPT_SORT_KEYS).decode()


def decoded(text: str) -> Any:
    """Return the record that ``encoded`` wrote."""
    return json.loads(text, object_hook=_revived)


def sha256(record: Any) -> str:
    """Return the hexadecimal SHA-256 of the canonical JSON."""
    return _sha256(encoded(record).encode()).hexdigest()


def plain(node: Any) -> Any:
    """Return the tree with quantities and texts as tagged JSON objects.

    Raises
    ------
    ValueError
        A number is NaN or infinite.
    """
    kind = type(node)
    if kind is str or node is None:
        return node
    handler = _PLAIN.get(kind)
    return node if handler is None else handler(node)


def _plain_members(node: dict[str, Any]) -> dict[str, Any]:
    return {key: value if type(value) is str else plain(value) for key, value in node.items()}


def _plain_items(node: list[Any]) -> list[Any]:
    return [plain(value) for value in node]


def _plain_words(node: tuple[Any, ...]) -> dict[str, Any]:
    return {"words": [plain(part) for part in node]}


def _plain_quantity(node: Quantity) -> dict[str, Any]:
    tagged = node.tagged
    if not isfinite(node.value):
        raise ValueError("a number of a record is not finite")
    return tagged


def _plain_number(node: float) -> float:
    if not isfinite(node):
        raise ValueError("a number of a record is not finite")
    return node


_PLAIN: Final[dict[type, Callable[[Any], Any]]] = {
    dict: _plain_members,
    list: _plain_items,
    tuple: _plain_words,
    Quantity: _plain_quantity,
    float: _plain_number,
}


def _revived(members: dict[str, Any]) -> Any:
    if "quantity" in members and len(members) == 2:
        kind = members["quantity"]
        return Quantity(kind, members[KINDS[kind].held_in])
    if "words" in members and len(members) == 1:
        return tuple(members["words"])
    return members
