"""From very many stays to lives by group, with the account of what was left out; no row is an object."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from service.reliability.lives import Bools, Floats, Ints, Lives, lives
from service.reliability.stay_ages import Ages
from service.reliability.stay_columns import Groups, StayColumns
from service.reliability.unrecorded_damage import CENSORED as NOT_FAILED
from service.reliability.unrecorded_damage import OTHER_MODE, THIS_MODE, UNRECORDED, shares_of_mode
from service.words import BASES

FAILED: Final = "failed"
CENSORED: Final = "censored"
NOT_RECORDED: Final = "damage_not_recorded"
NO_AGE: Final = "no_age"
NOT_OBSERVED: Final = "not_observed"
STILL_THERE: Final = ("running", "lost_to_follow_up")
IN_DOUBT: Final = ("not_inspected", "end_unknown")


@dataclass(frozen=True, slots=True)
class Counted:
    """What each of n stays counts as.

    Attributes
    ----------
    status : ndarray of int, shape (n,)
        Place in ``names``; below 2: takes part.
    names : list of str
        failed, censored, and the reasons to leave a stay out.
    share : ndarray, shape (n,)
        1 failed, 0 not; between them where a failure of which nobody recorded the damage is shared out, [-]
    unrecorded : ndarray of bool, shape (n,)
        Failures that take part and of which nobody recorded the damage.
    """

    status: Ints
    names: list[str]
    share: Floats
    unrecorded: Bools

    @property
    def row(self) -> Ints:
        """Return the stays that take part, in their order."""
        return np.flatnonzero(self.status < 2)

    def of_rows(self, rows: Ints) -> "Counted":
        """Return what some of the stays count as."""
        return Counted(self.status[rows], self.names, self.share[rows], self.unrecorded[rows])

    def left_out(self, reason: str) -> Bools:
        """Return the stays that are left out for a reason."""
        return self.status == self.names.index(reason) if reason in self.names else np.zeros_like(self.unrecorded)

    def excluded(self) -> dict[str, int]:
        """Return how many are left out, by reason."""
        numbers = np.bincount(self.status, minlength=len(self.names))
        return {name: int(numbers[n]) for n, name in enumerate(self.names) if n >= 2 and numbers[n]}


@dataclass(frozen=True, slots=True)
class Observed:
    """Lives by group.

    Attributes
    ----------
    data : Lives or None
        Lives of the groups that have any, in the order of ``group``; None when there is none. A failure that is shared
        out is two rows, one failed and one not.
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
    late, unrecorded : int
        Lives that came under observation at an age above zero; failures that were shared out, [-]
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
    unrecorded: int


def counted(columns: StayColumns, of_kind: Sequence[str], kind: Ints, ages: Ages, of_class: Ints | None) -> Counted:
    """Return what each stay counts as.

    Parameters
    ----------
    of_kind : sequence of str
        Status of each kind of stay: failed, censored, or the reason to leave it out.
    kind : ndarray of int
        Kind of each stay.
    of_class : ndarray of int or None, shape (n,)
        Class within which failures without recorded damage are shared out; None: they are left out.
    """
    names = [FAILED, CENSORED, NO_AGE, NOT_OBSERVED, *sorted(set(of_kind) - {FAILED, CENSORED})]
    place = {name: n for n, name in enumerate(names)}
    found = np.array([place[one] for one in of_kind], dtype=np.int64)[kind] if columns.rows else kind
    unrecorded = found == place[NOT_RECORDED] if NOT_RECORDED in place else np.zeros(columns.rows, dtype=np.bool_)
    alive = (found <= place[CENSORED]) | (unrecorded & (of_class is not None))
    aged = alive & (ages.age_h > 0)
    watched = aged & (ages.entry_h < ages.age_h)
    found = np.where(alive & ~aged, place[NO_AGE], np.where(aged & ~watched, place[NOT_OBSERVED], found))
    share = (found == place[FAILED]).astype(np.float64)
    unrecorded &= watched
    if of_class is not None and unrecorded.any():
        rows = np.flatnonzero(watched)
        mode = np.where(unrecorded, UNRECORDED, np.where(found == place[FAILED], THIS_MODE, NOT_FAILED))
        mode = np.where(_of_other_mode(columns) & (mode == NOT_FAILED), OTHER_MODE, mode)
        share[rows] = shares_of_mode(ages.age_h[rows], mode[rows], of_class[rows])
        unrecorded &= ~np.isnan(share)
        share = np.nan_to_num(share)
        found = np.where(unrecorded, place[FAILED], found)
    return Counted(found, names, share, unrecorded)


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


def observed(columns: StayColumns, found: Counted, ages: Ages, by: Groups) -> Observed:
    """Return the lives of stays by group."""
    q = len(by.labels)
    taken = found.row
    group, _ = np.unique(by.number[taken], return_inverse=True)
    data, row = split_lives(found.share, taken, ages, np.searchsorted(group, by.number))
    ended = ~is_any(columns, "end_type", ("running",))[taken]
    on_condition = is_any(columns, "end_type", ("removed_condition",))[taken]
    of_ended = np.bincount(by.number[taken], ended, q)
    share = np.divide(np.bincount(by.number[taken], on_condition, q), of_ended, out=np.zeros(q), where=of_ended > 0)
    return Observed(
        data,
        group.astype(np.int64),
        row,
        np.bincount(by.number, minlength=q),
        {name: np.bincount(by.number[found.status == n], minlength=q) for n, name in enumerate(found.names) if n >= 2},
        share,
        _distinct(by.number[taken], columns.words["designation"][taken], q),
        {name: int(np.count_nonzero(ages.basis[taken] == n)) for n, name in enumerate(BASES)},
        int(np.count_nonzero(ages.entry_h[taken] > 0)),
        int(np.count_nonzero(found.unrecorded)),
    )


def split_lives(share: Floats, rows: Ints, ages: Ages, group: Ints) -> tuple[Lives | None, Ints]:
    """Return lives, those with a share of a failure in two rows, and the stay of each row, sorted by group.

    Parameters
    ----------
    share : ndarray, shape (n,)
        1 failed, 0 not, or between, of every stay, [-]
    rows : ndarray of int
        Stays that take part.
    group : ndarray of int, shape (n,)
        Group of every stay, those that take part numbered without gaps.
    """
    if len(rows) == 0:
        return None, rows
    weight = share[rows]
    row = np.concatenate((rows[weight > 0], rows[weight < 1]))
    failed = np.concatenate((np.ones(np.count_nonzero(weight > 0)), np.zeros(np.count_nonzero(weight < 1)))) > 0
    count = np.concatenate((weight[weight > 0], 1 - weight[weight < 1]))
    order = np.lexsort((row, group[row]))
    row, failed, count = row[order], failed[order], count[order]
    return lives(ages.age_h[row], failed, count=count, entry_h=ages.entry_h[row], group=group[row]), row


def is_any(columns: StayColumns, name: str, wanted: Sequence[str]) -> Bools:
    """Return where a column of words has one of some words, shape (n,)."""
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


def _of_other_mode(columns: StayColumns) -> Bools:
    """Return where damage was recorded: what does not count as failed by the mode asked about shows another."""
    named = np.array([bool(word) and word != "undetermined" for word in columns.vocabularies["damage"]], dtype=np.bool_)
    if not columns.rows:
        return np.zeros(0, dtype=np.bool_)
    return np.asarray(named[columns.words["damage"]] & ~is_any(columns, "end_type", STILL_THERE))


def _distinct(group: Ints, word: Ints, q: int) -> Ints:
    """Return how many different words each group has."""
    pairs = np.unique(group * (int(word.max(initial=0)) + 1) + word)
    return np.bincount(pairs // (int(word.max(initial=0)) + 1), minlength=q)
