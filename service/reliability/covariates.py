"""What a life may hang on, as columns for a regression: numbers, kinds, months of the year, a place in a window."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.errors import CannotEvaluate
from service.reliability.lives import Bools, Floats, Ints
from service.words import DATE_WORDS

FEWEST_OF_A_KIND: Final = 5  # failures; rarer kinds are taken together
OTHERS: Final = "others"


@dataclass(frozen=True, slots=True)
class Covariate:
    """One question of a regression.

    Attributes
    ----------
    name : str
        What it is called.
    columns : ndarray, shape (n, k)
        Its columns, NaN where nothing is known.
    labels : tuple of str, length k
        What each column is called; a kind is compared with ``reference``.
    step : float
        The difference that a ratio is stated for, in the unit of the columns; 1 for kinds.
    reference : str or None
        The kind that the others are compared with.
    """

    name: str
    columns: Floats
    labels: tuple[str, ...]
    step: float = 1.0
    reference: str | None = None


def number(name: str, values: Floats, *, step: float = 1.0) -> Covariate:
    """Return a number as a covariate; ratios are stated for a difference of ``step``.

    Raises
    ------
    CannotEvaluate
        See ``refuse_dates``.
    """
    refuse_dates(name)
    return Covariate(name, np.asarray(values, dtype=np.float64)[:, None], (name,), step)


def kind(name: str, code: Ints, words: Sequence[str | None], failed: Bools) -> Covariate:
    """Return kinds (makers, crews, lubricants) as columns of 0 and 1, each compared with the most frequent.

    Kinds with fewer than 5 failures are taken together as ``others``, and count as not known when these have fewer
    than 5 too: a kind without failures would have no ratio.

    Parameters
    ----------
    code : ndarray of int, shape (n,)
        Place of each life's word in ``words``; None stands for nothing known.

    Raises
    ------
    CannotEvaluate
        See ``refuse_dates``.
    """
    refuse_dates(name)
    known = np.array([word is not None for word in words], dtype=np.bool_)
    failures = np.bincount(code, failed, len(words))
    frequent = known & (failures >= FEWEST_OF_A_KIND)
    rare = known & ~frequent
    labels = [str(words[one]) for one in np.flatnonzero(frequent).tolist()]
    place = np.full(len(words), -1, dtype=np.int64)
    place[frequent] = np.arange(len(labels))
    if failures[rare].sum() >= FEWEST_OF_A_KIND:
        place[rare] = len(labels)
        labels.append(OTHERS)
    of_life = place[code]
    if len(labels) < 2:
        return Covariate(name, np.where(of_life < 0, np.nan, 0.0)[:, None], (name,))
    size = np.bincount(of_life[of_life >= 0], minlength=len(labels))
    reference = int(np.argmax(size))
    shown = [one for one in range(len(labels)) if one != reference]
    columns = (of_life[:, None] == np.array(shown)).astype(np.float64)
    columns[of_life < 0] = np.nan
    return Covariate(name, columns, tuple(labels[one] for one in shown), 1.0, labels[reference])


def month_of_year(month: Ints) -> Covariate:
    """Return the month of fitting, 1 .. 12, as two harmonics: a season, not a date."""
    angle = 2 * np.pi * (np.asarray(month, dtype=np.float64) - 1) / 12
    columns = np.column_stack([wave(k * angle) for k in (1, 2) for wave in (np.cos, np.sin)])
    labels = ("once a year, cosine", "once a year, sine", "twice a year, cosine", "twice a year, sine")
    return Covariate("month_of_year", columns, labels)


def place_in_window(name: str, place: Floats) -> tuple[Covariate, Covariate]:
    """Return the place of a reading in its permitted window, 0 at the lower end and 1 at the upper, as two questions.

    Inside the window the place itself (a ratio for a tenth of the window); beyond it, whether below or above.
    """
    place = np.asarray(place, dtype=np.float64)
    inside = np.clip(place, 0.0, 1.0)
    outside = np.column_stack([place < 0, place > 1]).astype(np.float64)
    outside[np.isnan(place)] = np.nan
    linear = Covariate(name, inside[:, None], (name,), 0.1)
    return linear, Covariate(f"{name}_outside", outside, ("below the window", "above the window"), 1.0, "inside")


def refuse_dates(name: str) -> None:
    """Refuse dates, years and orders of fitting as covariates.

    Where positions differ, later fittings come more and more from the bad ones, and a date looks like a cause: false
    claims in 8 to 88 % of invented plants on which nothing changes.

    Raises
    ------
    CannotEvaluate
        The name is one of ``DATE_WORDS``.
    """
    if name in DATE_WORDS:
        said = (
            f"{name} is no covariate: where positions differ, later fittings come more and more from the bad ones. "
            "Ask for the trend, or for a change at a date."
        )
        raise CannotEvaluate(said, field="covariates")
