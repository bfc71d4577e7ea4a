"""How much an answer hangs on bearings that were removed and nobody looked at: survival with all failed, all sound."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service import units
from service.errors import Text
from service.findings import Warned
from service.reliability.kaplan_meier import SurvivalSteps, survival_steps
from service.reliability.lives import Bools, Ints, Lives, lives

CLOSE: Final = 1.10  # best over worst, above which the answer depends on them
SHARES: Final = {"b10": 0.1, "median": 0.5}


@dataclass(frozen=True, slots=True)
class UninspectedBounds:
    """B10 and median read from the survival curve: as counted, with all doubtful removals failed, and all sound, [h].

    ``worst`` and ``best`` are ordered, since the curves are at every age; an estimate of a fit is not. None: not
    reached.
    """

    doubtful: int
    as_counted_h: dict[str, float | None]
    worst_h: dict[str, float | None]
    best_h: dict[str, float | None]

    @property
    def depends(self) -> bool:
        """Return whether worst and best differ by more than 10 %, or only the worst is reached."""
        for name in SHARES:
            worst, best = self.worst_h[name], self.best_h[name]
            if worst is not None and (best is None or best > CLOSE * worst):
                return True
        return False

    @property
    def warning(self) -> Warned | None:
        """Return what has to be read with the answer, and which way the count leans; None where it hardly matters."""
        if not self.depends:
            return None
        name = next(one for one in SHARES if self._differs(one))
        best, counted = self.best_h[name], self.as_counted_h[name]
        said: Text = (
            f"{self.doubtful} were removed and nobody looked. {'B10' if name == 'b10' else 'The median'} is ",
            _age(self.worst_h[name]),
            " if all of them had failed, ",
            _age(best),
            " if all were sound; counted here: ",
            _age(counted),
            f", {self._lean(name)}.",
        )
        return Warned("depends_on_uninspected", said)

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "uninspected": self.doubtful,
            **{
                end: {name: None if age is None else units.Quantity("time", age) for name, age in ages.items()}
                for end, ages in (("worst", self.worst_h), ("best", self.best_h))
            },
        }

    def _differs(self, name: str) -> bool:
        worst, best = self.worst_h[name], self.best_h[name]
        return worst is not None and (best is None or best > CLOSE * worst)

    def _lean(self, name: str) -> str:
        worst, best, counted = self.worst_h[name], self.best_h[name], self.as_counted_h[name]
        if counted is None or (worst is not None and best is not None and counted**2 >= worst * best):
            return "nearer to the longer life"
        return "nearer to the shorter life"


def uninspected_bounds(data: Lives, doubtful: Bools, counted: Bools) -> list[UninspectedBounds]:
    """Return the bounds of each group.

    Parameters
    ----------
    data : Lives
        All lives, those left out included; ``failed`` as counted.
    doubtful : ndarray of bool, shape (n,)
        Removed, and nobody looked.
    counted : ndarray of bool, shape (n,)
        False: left out of the answer. Only doubtful ones may be.
    """
    kept = np.flatnonzero(counted)
    number, group = np.unique(data.group[kept], return_inverse=True)
    place = {int(one): n for n, one in enumerate(number)}
    as_counted = _steps(data, kept, data.failed, group) if len(kept) else None
    every = np.arange(len(data.time_h))
    worst, best = (
        _steps(data, every, (data.failed & ~doubtful) | (doubtful & fails), data.group) for fails in (True, False)
    )
    number_in_doubt = data.sums(data.count * doubtful)
    return [
        UninspectedBounds(
            round(float(number_in_doubt[one])),
            _ages(as_counted, place[one]) if as_counted is not None and one in place else dict.fromkeys(SHARES),
            _ages(worst, one),
            _ages(best, one),
        )
        for one in range(data.groups)
    ]


def _steps(data: Lives, rows: Ints, failed: Bools, group: Ints) -> SurvivalSteps:
    return survival_steps(
        lives(data.time_h[rows], failed[rows], count=data.count[rows], entry_h=data.entry_h[rows], group=group)
    )


def _ages(steps: SurvivalSteps, group: int) -> dict[str, float | None]:
    return {name: steps.quantile_h(group, share) for name, share in SHARES.items()}


def _age(age_h: float | None) -> units.Quantity | str:
    return "not reached" if age_h is None else units.Quantity("time", age_h)
