"""From very many stays to lives by group, with the account of what was left out; no row is an object."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.reliability.lives import Bools, Floats, Ints, Lives, lives
from service.reliability.stay_ages import Ages
from service.reliability.stay_columns import Groups, StayColumns
from service.words import BASES

FAILED: Final = "failed"
CENSORED: Final = "censored"
NO_AGE: Final = "no_age"
NOT_OBSERVED: Final = "not_observed"


@dataclass(frozen=True, slots=True)
class Observed:
    """Lives by group.

    Attributes
    ----------
    data : Lives or None
        Lives of the groups that have any, in the order of ``group``; None when there is none.
    group : ndarray of int
        Number, among all groups, of each group of ``data``.
    row : ndarray of int
        Stay of each row of ``data``.
    stays : ndarray of int, shape (q,)
        Stays of each group, [-]
    excluded : dict of ndarray, shape (q,)
        Number left out, by reason, [-]
    condition_share : ndarray, shape (q,)
        Share of ended lives that were removed on condition, [-]
    designations : ndarray of int, shape (q,)
        Different designations, [-]
    bases : dict of int
        Lives by where their age comes from, [-]
    late : int
        Lives that came under observation at an age above zero, [-]
    """

    data: Lives | None
    group: Ints
    row: Ints
    stays: Ints
    excluded: dict[str, Ints]
    condition_share: Floats
    designations: Ints
    bases: dict[str, int]
    late: int


def statuses(columns: StayColumns, of_kind: Sequence[str], kind: Ints, ages: Ages) -> tuple[Ints, list[str]]:
    """Return the status of each stay as a number, and the names of the statuses.

    Parameters
    ----------
    of_kind : sequence of str
        Status of each kind of stay: failed, censored, or the reason to leave it out.
    kind : ndarray of int
        Kind of each stay.
    """
    names = [FAILED, CENSORED, NO_AGE, NOT_OBSERVED, *sorted(set(of_kind) - {FAILED, CENSORED})]
    place = {name: n for n, name in enumerate(names)}
    found = np.array([place[one] for one in of_kind], dtype=np.int64)[kind] if columns.rows else kind
    alive = found <= place[CENSORED]
    found = np.where(alive & ~(ages.age_h > 0), place[NO_AGE], found)
    alive &= ages.age_h > 0
    return np.where(alive & (ages.entry_h >= ages.age_h), place[NOT_OBSERVED], found), names


def kinds(columns: StayColumns) -> tuple[Ints, list[tuple[str, bool | None, str | None]]]:
    """Return the kind of each stay, and what the kinds are: end type, whether it was inspected, damage."""
    words = ("end_type", "inspected", "damage")
    sizes = [len(columns.vocabularies[name]) for name in words]
    number = np.zeros(columns.rows, dtype=np.int64)
    for name, size in zip(words, sizes, strict=True):
        number = number * size + columns.words[name]
    present, kind = np.unique(number, return_inverse=True)
    found = []
    for one in present.tolist():
        rest, damage = divmod(one, sizes[2])
        end_type, inspected = divmod(rest, sizes[1])
        looked = columns.vocabularies["inspected"][inspected]
        found.append(
            (
                columns.vocabularies["end_type"][end_type],
                None if looked is None else bool(looked),
                columns.vocabularies["damage"][damage],
            )
        )
    return kind, found


def observed(columns: StayColumns, of_kind: Sequence[str], kind: Ints, ages: Ages, by: Groups) -> Observed:
    """Return the lives of stays by group; see ``statuses``."""
    status, names = statuses(columns, of_kind, kind, ages)
    q = len(by.labels)
    row = np.flatnonzero(status < 2)
    group, number = np.unique(by.number[row], return_inverse=True)
    data = None
    if len(row):
        order = np.argsort(number, kind="stable")
        row, number = row[order], number[order]
        data = lives(ages.age_h[row], status[row] == 0, entry_h=ages.entry_h[row], group=number)
    ended = ~_is(columns, "end_type", ("running",))[row]
    on_condition = _is(columns, "end_type", ("removed_condition",))[row]
    of_ended = np.bincount(by.number[row], ended, q)
    share = np.divide(np.bincount(by.number[row], on_condition, q), of_ended, out=np.zeros(q), where=of_ended > 0)
    return Observed(
        data,
        group.astype(np.int64),
        row,
        np.bincount(by.number, minlength=q),
        {name: np.bincount(by.number[status == n], minlength=q) for n, name in enumerate(names) if n >= 2},
        share,
        _distinct(by.number[row], columns.words["designation"][row], q),
        {name: int(np.count_nonzero(ages.basis[row] == n)) for n, name in enumerate(BASES)},
        int(np.count_nonzero(ages.entry_h[row] > 0)),
    )


def _distinct(group: Ints, word: Ints, q: int) -> Ints:
    """Return how many different words each group has."""
    pairs = np.unique(group * (int(word.max(initial=0)) + 1) + word)
    return np.bincount(pairs // (int(word.max(initial=0)) + 1), minlength=q)


def _is(columns: StayColumns, name: str, wanted: Sequence[str]) -> Bools:
    hit = np.array([one in wanted for one in columns.vocabularies[name]], dtype=np.bool_)
    return hit[columns.words[name]] if columns.rows else np.zeros(0, dtype=np.bool_)


def common_numbers(found: Observed, columns: StayColumns, by: Groups, of_position: Sequence[float | None]) -> Floats:
    """Return the number that all lives of a group share by their position, NaN where they do not, shape (q,).

    Parameters
    ----------
    of_position : sequence of float or None
        The number of each position, above zero, in the order of the vocabulary of positions.
    """
    values = np.array([-1.0 if one is None else one for one in of_position], dtype=np.float64)
    low, high = np.full(len(by.labels), np.inf), np.full(len(by.labels), -np.inf)
    if len(found.row):
        of_row, group = values[columns.words["position"][found.row]], by.number[found.row]
        np.minimum.at(low, group, of_row)
        np.maximum.at(high, group, of_row)
    return np.where((low == high) & (low > 0), low, np.nan)
