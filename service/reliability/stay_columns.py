"""Very many stays in columns: numbers as floats, words as numbers of a vocabulary. About 80 bytes a stay."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.reliability.lives import Floats, Ints


@dataclass(frozen=True, slots=True)
class StayColumns:
    """Columns of n stays, in the order in which they came.

    Attributes
    ----------
    numbers : dict of ndarray, shape (n,)
        By name; NaN where nothing is known.
    words : dict of ndarray of int, shape (n,)
        By name; the place of each word in its vocabulary.
    vocabularies : dict of list
        By name; None stands for nothing known.
    """

    numbers: Mapping[str, Floats]
    words: Mapping[str, Ints]
    vocabularies: Mapping[str, list[Any]]
    rows: int

    def of_rows(self, chosen: Ints) -> "StayColumns":
        """Return the columns of some of the stays."""
        numbers = {name: column[chosen] for name, column in self.numbers.items()}
        words = {name: column[chosen] for name, column in self.words.items()}
        return StayColumns(numbers, words, self.vocabularies, len(chosen))


@dataclass(frozen=True, slots=True)
class Groups:
    """The group of each stay, and what the groups are called, in the order of their names."""

    number: Ints
    labels: list[str]


def stay_columns(
    batches: Iterable[Sequence[Sequence[Any]]], *, numbers: Sequence[str], words: Sequence[str]
) -> StayColumns:
    """Return the columns of rows that come in batches; each row has the numbers first, then the words."""
    parts: dict[str, list[Any]] = {name: [] for name in (*numbers, *words)}
    known: dict[str, dict[Any, int]] = {name: {} for name in words}
    rows = 0
    for batch in batches:
        rows += len(batch)
        columns = dict(zip(parts, zip(*batch, strict=True), strict=True))
        for name in numbers:
            parts[name].append(np.array(columns[name], dtype=np.float64))
        for name in words:
            place = known[name].setdefault
            vocabulary = known[name]
            codes = [place(word, len(vocabulary)) for word in columns[name]]
            parts[name].append(np.array(codes, dtype=np.int32))
    return StayColumns(
        {name: _joined(parts[name], np.float64) for name in numbers},
        {name: _joined(parts[name], np.int32) for name in words},
        {name: list(known[name]) for name in words},
        rows,
    )


def groups(columns: StayColumns, keys: Sequence[tuple[str, Sequence[str]]]) -> Groups:
    """Return the groups by one or several words.

    Parameters
    ----------
    columns : StayColumns
        The stays.
    keys : sequence of (name, names of its words)
        By what to group, and what each word of the vocabulary is called; words of one name are one group.
    """
    number = np.zeros(columns.rows, dtype=np.int64)
    called = [""]
    for name, labels in keys:
        distinct = sorted(set(labels))
        place = {label: n for n, label in enumerate(distinct)}
        renumbered = np.array([place[label] for label in labels], dtype=np.int64)
        number = number * len(distinct) + renumbered[columns.words[name]]
        present, number = np.unique(number, return_inverse=True)
        called = [
            " / ".join(filter(None, (called[int(one) // len(distinct)], distinct[int(one) % len(distinct)])))
            for one in present
        ]
    return Groups(number, called if columns.rows else [])


def _joined(parts: list[Any], dtype: Any) -> Any:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=dtype)
