"""Which covariates can be told apart: from strata, from each other, from the positions they belong to."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from service.reliability.covariates import Covariate
from service.reliability.lives import Floats, Ints

DEPENDENT: Final = 1e-7  # share of a column's information left by the others, below which they cannot be told apart
HARDLY: Final = 0.05  # of the positions with several lives, in which a covariate of the position may change


def belongs_to_position(columns: Floats, position: Ints) -> bool:
    """Return whether a covariate hardly changes within positions (in fewer than 5 % of those with several lives)."""
    if len(position) == 0:
        return False
    _, number = np.unique(position, return_inverse=True)
    size = np.bincount(number)
    low = np.full((len(size), columns.shape[1]), np.inf)
    high = np.full_like(low, -np.inf)
    np.minimum.at(low, number, columns)
    np.maximum.at(high, number, columns)
    several = size > 1
    changes = np.any(low < high, axis=1)[several]
    return bool(not several.any() or changes.mean() < HARDLY)


def told_by_others(information: Floats, asked: Sequence[Covariate]) -> list[bool]:
    """Return whether strata and the other covariates leave (nearly) nothing of the information on each."""
    ends = np.cumsum([one.columns.shape[1] for one in asked])
    found = []
    for end, one in zip(ends.tolist(), asked, strict=True):
        own = np.zeros(len(information), dtype=np.bool_)
        own[end - one.columns.shape[1] : end] = True
        total = np.diag(information)[own]
        variance = one.columns.var(axis=0) + 1e-300
        if np.any(total <= DEPENDENT * variance):
            found.append(True)
            continue
        mixed = information[np.ix_(own, ~own)]
        rest = information[np.ix_(own, own)]
        if np.any(~own):
            scale = 1 / np.sqrt(np.maximum(np.diag(information)[~own], 1e-300))
            others = information[np.ix_(~own, ~own)] * np.outer(scale, scale)
            rest = rest - (mixed * scale) @ np.linalg.pinv(others, rcond=1e-10, hermitian=True) @ (mixed * scale).T
        left = np.linalg.eigvalsh(rest / np.sqrt(np.outer(total, total)))
        found.append(bool(left[0] < DEPENDENT))
    return found
