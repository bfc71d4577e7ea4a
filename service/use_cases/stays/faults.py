"""What is wrong with a row of an import, and what is worth a note: by row, column and code, and counted."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from service.errors import shown

MOST_FAULTS: Final = 2_000
"""What has so many is not looked at any further: a report names fewer, and rows of nothing are small to send."""


@dataclass(frozen=True, slots=True)
class RowFault:
    """What is wrong in a row, counted from 1; ``value`` as it was sent."""

    row: int
    column: str
    value: Any
    code: str
    message: str

    def record(self, sent_as: str | None = None) -> dict[str, Any]:
        """Return the wire members; ``sent_as`` is what the sheet calls the column, when it is another name."""
        value = self.value if isinstance(self.value, str | int | float | bool | None) else shown(self.value)
        if isinstance(value, str):
            value = value[:200]
        return {
            "row": self.row,
            "column": self.column,
            **({} if sent_as is None else {"sent_as": sent_as}),
            "value": value,
            "code": self.code,
            "message": self.message,
        }


def counts(faults: Iterable[RowFault]) -> list[dict[str, Any]]:
    """Return how many faults have each code in each column, the most frequent first."""
    counted = Counter((fault.code, fault.column) for fault in faults)
    return [{"code": code, "column": column, "count": count} for (code, column), count in counted.most_common(100)]
