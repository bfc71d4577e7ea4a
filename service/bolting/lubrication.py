"""The state of lubrication of thread and nut face, as a band of the nut factor (rule B2)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.bolting.tightening import long_form_nut_factor
from service.errors import CannotEvaluate
from service.reference.bolts import NutFactor, Thread, nut_factors

WRENCH_SCATTER: Final = 0.25
"""Scatter of the preload with a torque wrench when the nut factor or the frictions themselves are known: common
practice, no source (published values run from 0.25 to 0.35), [-]."""


@dataclass(frozen=True, slots=True)
class Lubrication:
    """A state by name, or a known nut factor, or both frictions, [-]."""

    state: str | None = None
    nut_factor: float | None = None
    thread_friction: float | None = None
    head_friction: float | None = None

    @property
    def known(self) -> bool:
        """Tell whether the state was stated, so that the cross-check is not over an assumed one."""
        return self.state not in (None, "unknown") or self.nut_factor is not None or self.thread_friction is not None

    def band(self, thread: Thread) -> NutFactor:
        """Return the nut factor with its band for a thread, [-]."""
        if self.nut_factor is not None:
            return _scattered("nut_factor", self.nut_factor)
        if self.thread_friction is not None and self.head_friction is not None:
            factor = long_form_nut_factor(
                thread, thread_friction=self.thread_friction, head_friction=self.head_friction
            )
            return _scattered("frictions", factor)
        return nut_factors()[self.state or "unknown"]


def _scattered(state: str, nominal: float) -> NutFactor:
    return NutFactor(state, nominal / (1 + WRENCH_SCATTER), nominal, nominal / (1 - WRENCH_SCATTER))


def lubrication_of(given: "str | Mapping[str, Any] | Lubrication | None") -> Lubrication:
    """Return the lubrication from a word, {nut_factor}, {thread_friction, head_friction} or itself.

    Raises
    ------
    CannotEvaluate
        ``unknown_lubrication``: another word, or frictions that are not both given and positive.
    """
    if given is None:
        found = Lubrication("unknown")
    elif isinstance(given, str):
        found = Lubrication(given)
    elif isinstance(given, Lubrication):
        found = given
    else:
        found = Lubrication(**given)
    if found.state is not None and found.state not in nut_factors():
        detail = f"lubrication {found.state!r}: say one of {', '.join(nut_factors())}"
        raise CannotEvaluate(detail, code="unknown_lubrication", field="lubrication")
    numbers = (found.nut_factor, found.thread_friction, found.head_friction)
    if any(number is not None and not 0 < number <= 1 for number in numbers):
        detail = "nut factor and frictions must be above 0 and at most 1"
        raise CannotEvaluate(detail, code="unknown_lubrication", field="lubrication")
    if (found.thread_friction is None) != (found.head_friction is None):
        detail = "give the friction in the thread and under the head, both"
        raise CannotEvaluate(detail, code="unknown_lubrication", field="lubrication")
    return found
