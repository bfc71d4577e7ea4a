"""What can be wrong, said without HTTP. Only ``service.api.http.problems`` knows status codes.

Two kinds of no (design rule): an error here means we cannot evaluate what was sent. What we can evaluate and what
must not be done like this is a ``service.findings.Blocked`` inside an ordinary answer.
"""

from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from service.units import Quantity

Text = str | tuple["str | Quantity", ...]
"""A sentence; a tuple mixes words and quantities, so that a renderer can print both unit systems."""


def shown(value: Any) -> str:
    """Return a value as it may be repeated in an error message: short, on one line, in ASCII."""
    text = ascii(value)
    return text if len(text) <= 80 else text[:77] + "..."


def nearest(given: Iterable[str], known: Iterable[str]) -> str:
    """Return "; the nearest that is known is X" for the first of the names that has one, else nothing.

    Upper and lower case count as alike: who sends a name in the wrong case finds the right one.
    """
    names = {name.lower(): name for name in known}
    for text in given:
        close = get_close_matches(text[:80].lower(), names, n=1, cutoff=0.6)
        if close:
            return f"; the nearest that is known is {names[close[0]]}"
    return ""


class ServiceError(Exception):
    """Base of all errors that a caller can act on.

    Parameters
    ----------
    detail : Text
        The sentence for this occurrence: names field, value, limit and source.
    code : str
        Stable machine word; part of the contract, never renamed.
    field : str
        Path of the faulty member below the object that was given, ``"bearing/designation"``; empty when none.
    facts : dict
        Further members of the answer (quantities allowed).
    """

    code = "error"

    def __init__(self, detail: Text, *, code: str | None = None, field: str = "", **facts: Any) -> None:
        self.detail: Text = detail
        self.code = code or type(self).code
        self.field = field
        self.facts = facts
        super().__init__(detail if isinstance(detail, str) else "".join(str(part) for part in detail))

    def below(self, prefix: str) -> "ServiceError":
        """Return itself with the field moved below ``prefix``, for an object nested in another."""
        self.field = f"{prefix}/{self.field}" if self.field else prefix
        return self


class CannotEvaluate(ServiceError):
    """What was sent is well-formed but cannot be evaluated: unknown, outside a table, on the wrong scale."""

    code = "cannot_evaluate"


class OutOfTable(CannotEvaluate):
    """No row of the table covers the value; never extrapolated."""

    code = "out_of_table"


class ReadingScaleSuspect(CannotEvaluate):
    """A reading would fit after a slip of unit or decimal point; ``fits`` names every value that does."""

    code = "reading_scale_suspect"


class NotFound(ServiceError):
    """The object named in the path is not there, or belongs to another site."""

    code = "not_found"


class Conflict(ServiceError):
    """The request contradicts what is on record (identity, lifecycle)."""

    code = "conflict"


class StaleVersion(ServiceError):
    """The record has changed since the caller read it."""

    code = "stale_version"


class IdempotencyKeyReused(CannotEvaluate):
    """The Idempotency-Key came before with another request."""

    code = "idempotency_key_reused"


class Busy(ServiceError):
    """The database cannot do it now; the same request may be sent again.

    ``retry_after_s``: when to, [s]; None where waiting does not help, because somebody must do something.
    """

    code = "busy"
    retry_after_s: int | None = 2


class ReadOnly(Busy):
    """The database takes no changes: a write-protected file, a standby. Questions are answered."""

    code = "read_only"
    retry_after_s = None


class DiskFull(Busy):
    """The database has no room for the change."""

    code = "disk_full"
    retry_after_s = 30


class StorageFailed(Busy):
    """The disk of the database cannot be read or written."""

    code = "storage_failed"
    retry_after_s = 30


class DatabaseMissing(Busy):
    """The file of the database is not there, or another one lies in its place."""

    code = "database_missing"
    retry_after_s = None


class TableError(Exception):
    """A reference table is not fit for use: a gap, an overlap, a column running backwards, no provenance."""
