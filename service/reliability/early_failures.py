"""Failures soon after a replacement, against what the class leads to expect."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service import units
from service.errors import Text
from service.reliability.expectation import empirical_expected
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Lives
from service.reliability.ranking import poisson_limits, poisson_tail

SIGNIFICANT: Final = 0.05


@dataclass(frozen=True, slots=True)
class EarlyFailures:
    """Early failures of one group: position, installer, work order or whatever the caller grouped by."""

    label: str
    stays: float
    observed: float
    expected: float
    ratio: float | None
    ratio_lower: float | None
    ratio_upper: float | None
    p_value: float

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        ratio = None
        if self.ratio is not None:
            ratio = {"estimate": self.ratio, "lower": self.ratio_lower, "upper": self.ratio_upper}
        return {
            "group": self.label,
            "stays": self.stays,
            "observed": self.observed,
            "expected": self.expected,
            "ratio": ratio,
            "p_value": self.p_value,
        }


@dataclass(frozen=True, slots=True)
class EarlyFailureAnswer:
    """Early failures of all groups, the surest excess first."""

    within_h: float
    items: tuple[EarlyFailures, ...]

    @property
    def exceeding(self) -> tuple[EarlyFailures, ...]:
        """Return the groups with more than chance explains, the number of groups looked at being allowed for."""
        limit = SIGNIFICANT / max(len(self.items), 1)
        return tuple(one for one in self.items if one.p_value <= limit)

    @property
    def detail(self) -> Text:
        """Return what was found, in a sentence."""
        window = units.Quantity("time", self.within_h)
        if not self.exceeding:
            return ("No group has more failures within ", window, " of fitting than the class explains.")
        names = ", ".join(one.label for one in self.exceeding)
        return ("More failures within ", window, f" of fitting than the class explains: {names}.")

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "within": units.Quantity("time", self.within_h),
            "items": [one.record() for one in self.items],
            "detail": self.detail,
        }


def early_failures(
    data: Lives, labels: Sequence[str], *, within_h: float, class_lives: Lives | None = None
) -> EarlyFailureAnswer:
    """Return the failures within so many hours of fitting, by group.

    The expected number is the class's Nelson-Aalen cumulative hazard up to the end of the window or of the stay,
    whichever is earlier: no model, and right under censoring.

    Parameters
    ----------
    data : Lives
        Lives of q groups.
    labels : sequence of str
        Names of the groups.
    within_h : float
        The window after fitting, [h]
    class_lives : Lives, optional
        Lives of the class, as one group; those of all groups together by default.

    Raises
    ------
    ValueError
        The window is not above zero.
    """
    if not within_h > 0:
        raise ValueError("the window must be above zero")
    whole = class_lives or Lives(data.time_h, data.failed, data.count, data.entry_h, np.zeros(1, dtype=np.int64))
    until = np.minimum(data.time_h, within_h)
    hazard = empirical_expected(survival_steps(whole), 0, time_h=until, entry_h=np.minimum(data.entry_h, until))
    expected = data.sums(data.count * hazard)
    observed = data.sums(data.count * (data.failed & (data.time_h <= within_h)))
    stays = data.units
    safe = np.where(expected > 0, expected, 1.0)
    lower, upper = poisson_limits(observed, safe)
    items = []
    for n, label in enumerate(labels):
        known = bool(expected[n] > 0)
        items.append(
            EarlyFailures(
                label,
                float(stays[n]),
                float(observed[n]),
                float(expected[n]),
                float(observed[n] / safe[n]) if known else None,
                float(lower[n]) if known else None,
                float(upper[n]) if known else None,
                poisson_tail(float(observed[n]), float(expected[n])),
            )
        )
    return EarlyFailureAnswer(within_h, tuple(sorted(items, key=lambda one: (one.p_value, -one.observed))))
