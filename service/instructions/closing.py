"""What may close a step: said once, for judging, holds, cards and phones (rule I2)."""

from collections.abc import Mapping
from typing import Any, Final

READ_NEVER_CONFIRMED: Final = ("initial_clearance", "residual_clearance")
"""Kinds of readings that are always numbers."""


def is_stop(step: Mapping[str, Any]) -> bool:
    """Return whether a step says that the work must not be done like this: only a deviation closes it."""
    return step["stop"] is not None


def is_confirmable(step: Mapping[str, Any]) -> bool:
    """Return whether a tick closes a step: all but the holds, which are closed by what proves them, and the STOPs."""
    return step["hold"] is None and not is_stop(step)
