"""Very many stays in columns: numbers as floats, words as numbers of a vocabulary. About 80 bytes a stay."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.reliability.lives import Floats, Ints

ID: Final = "id"
ID_BYTES: Final = "S36"


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
    ids : ndarray of bytes or None, shape (n,)
        Ids of the stays, where they are asked for.
    """

    numbers: Mapping[str, Floats]
    words: Mapping[str, Ints]
    vocabularies: Mapping[str, list[Any]]
    rows: int
    ids: Any = None

    def of_rows(self, chosen: Ints) -> "StayColumns":
        """Return the columns of some of the stays."""
        numbers = {name: column[chosen] for name, column in self.numbers.items()}
        words = {name: column[chosen] for name, column in self.words.items()}
        ids = None if self.ids is None else self.ids[chosen]
        return StayColumns(numbers, words, self.vocabularies, len(chosen), ids)


@dataclass(frozen=True, slots=True)
class Groups:
    """The group of each stay, what the groups are called, in the order of their names, and the words of each key."""

    number: Ints
    labels: list[str]
    words: list[tuple[str, ...]]


def stay_columns(
    batches: Iterable[Sequence[Sequence[Any]]],
    *,
    numbers: Sequence[str],
    words: Sequence[str],
    ids: bool = False,
    order_by: Sequence[str] = (),
) -> StayColumns:
    """Return the columns of rows that come in batches; each row has the numbers first, then the words, then the id.

    Vocabularies are in the order of their words, and rows in that of the columns ``order_by``: databases give rows in
    any order, and what is drawn at random, or breaks a tie, must not hang on it.
    """
    parts: dict[str, list[Any]] = {name: [] for name in (*numbers, *words, *([ID] if ids else []))}
    known: dict[str, dict[Any, int]] = {name: {} for name in words}
    rows = 0
    for batch in batches:
        rows += len(batch)
        values = dict(zip(parts, zip(*batch, strict=True), strict=True))
        for name in numbers:
            parts[name].append(np.array(values[name], dtype=np.float64))
        for name in words:
            place = known[name].setdefault
            vocabulary = known[name]
            codes = [place(word, len(vocabulary)) for word in values[name]]
            parts[name].append(np.array(codes, dtype=np.int32))
        if ids:
            parts[ID].append(np.array(values[ID], dtype=ID_BYTES))
    columns: dict[str, Any] = {name: _joined(parts.pop(name), np.float64) for name in numbers}
    vocabularies = {name: sorted(known[name], key=_known_last) for name in words}
    for name in words:
        rank = {word: n for n, word in enumerate(vocabularies[name])}
        ranks = np.array([rank[word] for word in known[name]], dtype=np.int32)
        columns[name] = ranks[_joined(parts.pop(name), np.int32)] if rows else np.zeros(0, dtype=np.int32)
    if ids:
        columns[ID] = _joined(parts.pop(ID), ID_BYTES)
    if order_by:
        order = np.lexsort([columns[name] for name in reversed(order_by)])
        for name in columns:
            columns[name] = columns[name][order]
    return StayColumns(
        {name: columns[name] for name in numbers},
        {name: columns[name] for name in words},
        vocabularies,
        rows,
        columns.get(ID),
    )


def _known_last(word: Any) -> tuple[bool, Any]:
    """Return by what the words of a vocabulary are ordered: what is not known first."""
    return (False, 0) if word is None else (True, word)


def groups(rows: int, keys: Sequence[tuple[Ints, Sequence[str]]]) -> Groups:
    """Return the groups by one or several keys, one of all stays where there is none.

    Parameters
    ----------
    rows : int
        Number of stays, [-]
    keys : sequence of (codes, names)
        By what to group: the code of each stay, shape (n,), and what each code is called; codes of one name are one
        group.
    """
    number = np.zeros(rows, dtype=np.int64)
    called: list[tuple[str, ...]] = [()]
    for codes, names in keys:
        distinct = sorted(set(names))
        place = {name: n for n, name in enumerate(distinct)}
        renumbered = np.array([place[name] for name in names], dtype=np.int64)
        number = number * len(distinct) + renumbered[codes]
        present, number = np.unique(number, return_inverse=True)
        called = [(*called[int(one) // len(distinct)], distinct[int(one) % len(distinct)]) for one in present]
    return Groups(number, [" / ".join(words) for words in called] if rows else [], called if rows else [])


def _joined(parts: list[Any], dtype: Any) -> Any:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=dtype)
