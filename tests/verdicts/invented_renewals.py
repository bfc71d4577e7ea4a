"""Invented plants for the claims: positions in which one bearing follows another, each as good as new."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import gamma

Factor = Callable[[np.random.Generator, np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True, slots=True)
class Renewals:
    """Stays in columns, by position and begin; moments and ages in mean lives of the class."""

    position: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    age: np.ndarray
    failed: np.ndarray
    running: np.ndarray
    now: float

    @property
    def period(self) -> np.ndarray:
        """Return the eighth of the fitting dates that each stay falls into."""
        edges = np.quantile(self.begin, np.arange(1, 8) / 8)
        return np.searchsorted(edges, self.begin, side="right")


def renewals(
    rng: np.random.Generator,
    *,
    positions: int,
    shape: float,
    watch: float,
    sigma: float = 0.0,
    factor: Factor | None = None,
    beyond: float = 0.0,
) -> Renewals:
    """Return a plant watched for ``watch`` mean lives, positions starting in its first half.

    Parameters
    ----------
    sigma : float
        Of the lasting log-normal factors of life of the positions; nothing else differs.
    factor : callable, optional
        Factor of life of stays, given the generator, their positions and their begins; 1 by default.
    beyond : float
        Go on so long after now, to see what comes: those stays are in the columns too.
    """
    of_position = np.exp(sigma * rng.standard_normal(positions))
    begin = rng.uniform(0, watch / 2, positions)
    place, rows = np.arange(positions), []
    until = watch + beyond
    while len(place):
        life = rng.weibull(shape, len(place)) / gamma(1 + 1 / shape) * of_position[place]
        if factor is not None:
            life = life * factor(rng, place, begin)
        end = begin + life
        rows.append((place, begin, np.minimum(end, until), end > until))
        go = end <= until
        place, begin = place[go], end[go]
    columns = [np.concatenate([row[k] for row in rows]) for k in range(4)]
    order = np.lexsort((columns[1], columns[0]))
    position, begin, end, running = (column[order] for column in columns)
    return Renewals(position, begin, end, end - begin, ~running, running, watch)
