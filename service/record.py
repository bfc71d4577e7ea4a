"""Unit-neutral records: how answers and plans are stored and hashed.

A record is a tree of dicts, lists, strings, numbers, booleans and None, with two more leaves: ``Quantity``, and a
tuple of words and quantities (``Text``). ``encoded`` writes it as canonical JSON, ``decoded`` reads it back to the
same tree, ``sha256`` names it. Which units a reader sees is decided afterwards, in ``service.render``.
"""

import json
from hashlib import sha256 as _sha256
from typing import Any

from service.units import KINDS, Quantity

Record = dict[str, Any]


def encoded(record: Any) -> str:
    """Return canonical JSON: members sorted, no blanks, no NaN.

    Raises
    ------
    ValueError
        A number is NaN or infinite.
    TypeError
        The tree holds something else than a record may.
    """
    return json.dumps(plain(record), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def decoded(text: str) -> Any:
    """Return the record that ``encoded`` wrote."""
    return json.loads(text, object_hook=_revived)


def sha256(record: Any) -> str:
    """Return the hexadecimal SHA-256 of the canonical JSON."""
    return _sha256(encoded(record).encode()).hexdigest()


def plain(node: Any) -> Any:
    """Return the tree with quantities and texts as tagged JSON objects."""
    if isinstance(node, Quantity):
        return node.tagged
    if isinstance(node, dict):
        return {key: plain(value) for key, value in node.items()}
    if isinstance(node, tuple):
        return {"words": [plain(part) for part in node]}
    if isinstance(node, list):
        return [plain(value) for value in node]
    return node


def _revived(members: dict[str, Any]) -> Any:
    if "quantity" in members and len(members) == 2:
        kind = members["quantity"]
        return Quantity(kind, members[KINDS[kind].held_in])
    if "words" in members and len(members) == 1:
        return tuple(members["words"])
    return members
