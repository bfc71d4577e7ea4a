"""The ages of very many stays at once, by the rules of ``service.history.ages``, against which the tests hold them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.reliability.lives import Bools, Floats, Ints
from service.reliability.stay_columns import StayColumns


@dataclass(frozen=True, slots=True)
class MeterColumns:
    """An hour meter, exchanges taken out: moments and running totals, shape (k,), [h]"""

    times_h: Floats
    total_h: Floats


@dataclass(frozen=True, slots=True)
class Ages:
    """Age at the end and at the beginning of observation, [h], and the number in ``BASES`` it comes from."""

    age_h: Floats
    entry_h: Floats
    basis: Ints


def meter_columns(times_h: Sequence[float], total_h: Sequence[float]) -> MeterColumns:
    """Return the meter of an asset, moments in hours since 1970."""
    return MeterColumns(np.array(times_h, dtype=np.float64), np.array(total_h, dtype=np.float64))


def stay_ages(
    columns: StayColumns, *, now_h: float, duty: Sequence[float], meter: Sequence[int], meters: Sequence[MeterColumns]
) -> Ages:
    """Return the ages of stays.

    Parameters
    ----------
    columns : StayColumns
        With begin_h, end_h (removal, else as of), observed_h, operating_h, carried_h, position, end_type.
    now_h : float
        When a running stay is looked at, hours since 1970, [h]
    duty : sequence of float
        Share of calendar time that each position runs, in the order of the vocabulary of positions, [-]
    meter : sequence of int
        Number of the meter of each position, -1 without one, [-]
    meters : sequence of MeterColumns
        The meters.
    """
    begin = columns.numbers["begin_h"]
    end = np.where(np.isnan(columns.numbers["end_h"]), now_h, columns.numbers["end_h"])
    watched = np.fmax(columns.numbers["observed_h"], begin)  # fmax: NaN gives way
    carried = np.nan_to_num(columns.numbers["carried_h"])
    place = columns.words["position"]
    share = np.array(duty, dtype=np.float64)[place] if columns.rows else np.zeros(0)
    age, entry = carried + (end - begin) * share, carried + (watched - begin) * share
    basis = np.full(columns.rows, 2, dtype=np.int64)
    if meters and columns.rows:
        by_meter = np.array(meter, dtype=np.int64)[place]
        _by_meter(columns, by_meter, meters, begin, end, watched, carried, age, entry, basis)
    stated = columns.numbers["operating_h"]
    known = ~np.isnan(stated)
    run = (end - begin)[known]
    part = np.divide((watched - begin)[known], run, out=np.zeros_like(run), where=run > 0)
    age[known] = stated[known]
    entry[known] = carried[known] + np.maximum(stated[known] - carried[known], 0) * part
    basis[known] = 0
    return Ages(age, entry, basis)


def _by_meter(
    columns: StayColumns,
    by_meter: Ints,
    meters: Sequence[MeterColumns],
    begin: Floats,
    end: Floats,
    watched: Floats,
    carried: Floats,
    age: Floats,
    entry: Floats,
    basis: Ints,
) -> None:
    """Put the ages by meter in place, where the readings reach before and after."""
    running = _is(columns, "end_type", "running")
    order = np.argsort(by_meter, kind="stable")
    edges = np.searchsorted(by_meter[order], np.arange(len(meters) + 1))
    for number, of_one in enumerate(meters):
        rows = order[edges[number] : edges[number + 1]]
        if len(rows) == 0 or len(of_one.times_h) == 0:
            continue
        read = np.where(running[rows], np.minimum(end[rows], of_one.times_h[-1]), end[rows])
        first = _total(of_one, begin[rows])
        run, before = _total(of_one, read) - first, _total(of_one, watched[rows]) - first
        whole = ~np.isnan(run) & ~np.isnan(before) & (read > begin[rows]) & (watched[rows] <= read)
        at = rows[whole]
        age[at], entry[at], basis[at] = carried[at] + run[whole], carried[at] + before[whole], 1


def _total(meter: MeterColumns, at_h: Floats) -> Floats:
    """Return the running total, NaN before the first and after the last reading, [h]."""
    return np.interp(at_h, meter.times_h, meter.total_h, left=np.nan, right=np.nan)


def hours_at(meter: MeterColumns, at_h: float) -> float:
    """Return the running total of a meter at a moment, hours since 1970, as ages by meter are read from it, [h].

    NaN before the first and after the last reading.
    """
    return float(_total(meter, np.array([at_h]))[0])


def _is(columns: StayColumns, name: str, word: str) -> Bools:
    vocabulary = columns.vocabularies[name]
    wanted = np.array([one == word for one in vocabulary], dtype=np.bool_)
    return wanted[columns.words[name]] if columns.rows else np.zeros(0, dtype=np.bool_)
