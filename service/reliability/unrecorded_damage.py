"""Failures whose damage nobody recorded, when one mode of damage is asked about: shared out by age."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from service.errors import Text
from service.reliability.lives import Floats, Ints, Lives, lives

Unrecorded = Literal["shared", "this_mode", "other_mode", "left_out"]
CENSORED, THIS_MODE, OTHER_MODE, UNRECORDED = 0, 1, 2, 3  # what a life is, in the column ``kind``
FIFTHS: Final = 5
WEIGHTS: Final = {"this_mode": 1.0, "other_mode": 0.0, "left_out": np.nan}
DOUBT: Final[Text] = "The limits do not hold the doubt about failures whose damage was not recorded."


@dataclass(frozen=True, slots=True)
class ModeLives:
    """Lives for one mode of damage, and the row of the stays that each comes from.

    ``left_out`` counts failures without recorded damage in classes in which no damage was recorded at all.
    """

    data: Lives | None
    row: Ints
    unrecorded: int
    left_out: int


def shares_of_mode(age_h: Floats, kind: Ints, class_number: Ints) -> Floats:
    """Return with what weight each life failed by the mode asked about, NaN where it cannot be said, shape (n,), [-].

    Failures without recorded damage get the share of the mode among the recorded failures of the same class in the
    same fifth of its failure ages (in the class where that fifth has none recorded): modes have ages of their own, so
    one share for all ages is wrong.

    Parameters
    ----------
    age_h : ndarray, shape (n,)
        Age at the end, [h]
    kind : ndarray of int, shape (n,)
        CENSORED, THIS_MODE, OTHER_MODE or UNRECORDED.
    class_number : ndarray of int, shape (n,)
        Class of each life, from 0.
    """
    weight = np.where(kind == THIS_MODE, 1.0, 0.0)
    unknown = kind == UNRECORDED
    for one in np.unique(class_number[unknown]):
        failures = np.flatnonzero((class_number == one) & (kind != CENSORED))
        edges = np.quantile(age_h[failures], np.arange(1, FIFTHS) / FIFTHS)
        fifth = np.searchsorted(edges, age_h[failures], side="left")
        recorded = kind[failures] != UNRECORDED
        of_mode = np.bincount(fifth[recorded], kind[failures][recorded] == THIS_MODE, FIFTHS)
        total = np.bincount(fifth[recorded], minlength=FIFTHS)
        overall = of_mode.sum() / total.sum() if total.sum() else np.nan
        share = np.where(total > 0, of_mode / np.maximum(total, 1), overall)
        asked = ~recorded
        weight[failures[asked]] = share[fifth[asked]]
    return weight


def mode_lives(
    age_h: Floats, entry_h: Floats, kind: Ints, group: Ints, class_number: Ints, *, unrecorded: Unrecorded = "shared"
) -> ModeLives:
    """Return the lives for one mode of damage; a shared failure is two rows, w failed and 1 - w censored.

    ``this_mode`` and ``other_mode`` are the worst and the best that can be: the doubt that limits do not hold.

    Parameters
    ----------
    age_h, entry_h : ndarray, shape (n,)
        Age at the end and at the beginning of observation, [h]
    kind, class_number : ndarray of int, shape (n,)
        See ``shares_of_mode``.
    group : ndarray of int, shape (n,)
        Group of each life, 0 .. q-1. Groups of which nothing is left must not come in.
    unrecorded : str
        What a failure without recorded damage counts as.

    Raises
    ------
    ValueError
        A group of which nothing is left.
    """
    unknown = kind == UNRECORDED
    recorded = np.where(kind == THIS_MODE, 1.0, 0.0)
    if unrecorded == "shared":
        weight = shares_of_mode(age_h, kind, class_number)
    else:
        weight = np.where(unknown, WEIGHTS[unrecorded], recorded)
    fails, lives_on = np.flatnonzero(weight > 0), np.flatnonzero(weight < 1)  # NaN is in neither
    row = np.concatenate((fails, lives_on))
    failed = np.concatenate((np.ones(len(fails), dtype=np.bool_), np.zeros(len(lives_on), dtype=np.bool_)))
    count = np.concatenate((weight[fails], 1 - weight[lives_on]))
    order = np.lexsort((row, group[row]))
    row, failed, count = row[order], failed[order], count[order]
    left_out = int(np.count_nonzero(np.isnan(weight)))
    if len(row) == 0:
        return ModeLives(None, row, int(np.count_nonzero(unknown)), left_out)
    data = lives(age_h[row], failed, count=count, entry_h=entry_h[row], group=group[row])
    return ModeLives(data, row, int(np.count_nonzero(unknown)), left_out)
