"""How golden files are written and how two trees differ: by member path, old and new."""

import json
from collections.abc import Iterator, Sequence
from typing import Any

WIDTH = 118
Difference = tuple[str, Any, Any]
"""Member path, old value, new value; ``ABSENT`` where there is none."""
ABSENT = "(absent)"
_NAMED_BY = ("id", "position", "name", "code", "field")


def pretty(node: Any, indent: str = "") -> str:
    """Return canonical JSON to be read: members sorted, what fits on a line on one line."""
    line = json.dumps(node, ensure_ascii=False, sort_keys=True)
    if len(indent) + len(line) <= WIDTH or not isinstance(node, dict | list):
        return line
    below = indent + " "
    if isinstance(node, dict):
        inside = [f"{below}{json.dumps(key)}: {pretty(value, below)}" for key, value in sorted(node.items())]
    else:
        inside = [f"{below}{pretty(value, below)}" for value in node]
    opening, closing = "{}" if isinstance(node, dict) else "[]"
    return opening + "\n" + ",\n".join(inside) + f"\n{indent}{closing}"


def differences(old: Any, new: Any, path: str = "") -> Iterator[Difference]:
    """Yield where two trees differ; items of lists are matched by what names them, so that one more is one line."""
    if isinstance(old, dict) and isinstance(new, dict):
        for member in sorted(old.keys() | new.keys()):
            below = f"{path}/{member}"
            if member not in old or member not in new:
                yield below, old.get(member, ABSENT), new.get(member, ABSENT)
            else:
                yield from differences(old[member], new[member], below)
    elif isinstance(old, list) and isinstance(new, list) and all(isinstance(each, dict) for each in old + new):
        yield from _of_lists(old, new, path)
    elif type(old) is not type(new) or old != new:
        yield path, old, new


def _of_lists(old: Sequence[dict[str, Any]], new: Sequence[dict[str, Any]], path: str) -> Iterator[Difference]:
    before, after = _named(old), _named(new)
    for name in before.keys() - after.keys():
        yield f"{path}/{name}", before[name], ABSENT
    for name in after.keys() - before.keys():
        yield f"{path}/{name}", ABSENT, after[name]
    shared, order = [name for name in before if name in after], [name for name in after if name in before]
    for name in shared:
        yield from differences(before[name], after[name], f"{path}/{name}")
    if shared != order:
        moved = [pair for pair in zip(shared, order, strict=True) if pair[0] != pair[1]]
        yield f"{path} (order)", [was for was, _ in moved], [now for _, now in moved]


def _named(items: Sequence[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    """Return the items by what names them; a number is added to a name that comes again."""
    named: dict[str, dict[str, Any]] = {}
    for number, item in enumerate(items):
        words = [str(item[member]) for member in _NAMED_BY if item.get(member) is not None]
        name = "@".join(words) or str(number)
        while name in named:
            name += "'"
        named[name] = item
    return named


def said(found: Sequence[Difference], most: int = 12) -> str:
    """Return differences as lines to read."""
    lines = [f"  {path}\n    old: {_short(old)}\n    new: {_short(new)}" for path, old, new in found[:most]]
    more = [f"  ... and {len(found) - most} more"] if len(found) > most else []
    return "\n".join([*lines, *more])


def _short(value: Any) -> str:
    text = value if value is ABSENT else json.dumps(value, ensure_ascii=False, sort_keys=True)
    return text if len(text) <= 600 else text[:600] + " ..."
