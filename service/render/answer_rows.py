"""The rows of an answer about lives as a flat table: members of members have dots in their names, units end them."""

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

ROWS: Final = ("items", "mean_cumulative_number")
"""Members of which each element is a row; an answer without them is one row."""
NOTED: Final = ("assumptions", "sources")
"""What is said of the whole answer, and stands in its JSON."""
UNIT_SIGNS: Final = str.maketrans({".": "_", "/": "_per_", "%": "percent"})


def answer_rows(answer: Mapping[str, Any]) -> tuple[list[str], list[list[Any]]]:
    """Return the names of the columns, and the values row by row; None where a row has no such member.

    Parameters
    ----------
    answer : dict
        As it is presented, quantities as ``{value, unit, text}``. They become a column that ends in their unit; lists
        of warnings and the like become their codes, | between them.
    """
    name = next((one for one in ROWS if isinstance(answer.get(one), list)), None)
    rows = [answer] if name is None else answer[name]
    flat = [_flat(row) for row in rows]
    named = list(dict.fromkeys(column for row in flat for column in row))
    columns = [name for name in named if any(row.get(name) is not None for row in flat) or not _is_parted(name, named)]
    return columns, [[row.get(column) for column in columns] for row in flat]


def _is_parted(name: str, named: Sequence[str]) -> bool:
    """Return whether a member that is missing here stands in other rows as members of its own."""
    return any(one.startswith((f"{name}.", f"{name}_")) for one in named)


def _flat(row: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in row.items():
        column = f"{before}{name}"
        if not before and name in NOTED:
            continue
        if isinstance(value, Mapping):
            if set(value) == {"value", "unit", "text"}:
                found[f"{column}_{str(value['unit']).translate(UNIT_SIGNS)}"] = value["value"]
            else:
                found |= _flat(value, f"{column}.")
        elif isinstance(value, list):
            found[column] = _listed(value)
        else:
            found[column] = value
    return found


def _listed(values: Sequence[Any]) -> str:
    """Return a list in one cell: codes or words with | between them, else JSON."""
    if all(isinstance(one, str | int | float) for one in values):
        return "|".join(map(str, values))
    if all(isinstance(one, Mapping) and "code" in one for one in values):
        return "|".join(str(one["code"]) for one in values)
    return json.dumps(list(values), ensure_ascii=False, separators=(",", ":"))
