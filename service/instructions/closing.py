"""What may close a step: said once, for judging, holds, cards and phones (rule I2)."""

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
    """Return whether a step says that the work must not be done like this: only a deviation closes it."""
    return step["stop"] is not None


def is_confirmable(step: Mapping[str, Any]) -> bool:
    """Return whether a tick closes a step: all but the holds, which are closed by what proves them, and the STOPs."""
    return step["hold"] is None and not is_stop(step)
