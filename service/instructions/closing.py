"""What a step is closed by: a STOP step by a deviation alone, and which steps a confirmation may close. Said once.

Issued instructions are immutable and carry no mark of their own for a STOP step, so its id tells: it is made and read
here and nowhere else.
"""

from collections.abc import Mapping
from typing import Any, Final

from service.words import CLEARANCE_READINGS

READ_NEVER_CONFIRMED: Final = CLEARANCE_READINGS
"""Kinds of readings for which no confirmation stands, with limits or without."""
_STOP: Final = "stop-"


def stop_id(code: str) -> str:
    """Return the id of the STOP step for a finding that blocks the work."""
    return f"{_STOP}{code}"


def is_stop(step: Mapping[str, Any]) -> bool:
    """Return whether a step says that it must not be done like this; only a deviation closes it."""
    return bool(step["id"].startswith(_STOP))


def is_confirmable(step: Mapping[str, Any]) -> bool:
    """Return whether a confirmation closes a step: no STOP, no limits, and nothing that must be read."""
    record = step["record"] or {}
    return not is_stop(step) and record.get("limits") is None and record.get("kind") not in READ_NEVER_CONFIRMED
