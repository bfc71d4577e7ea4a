"""Does the regression find effects where there are none? Invented plants on which no covariate changes life."""

from typing import Any

import numpy as np

from service.reliability.covariates import kind, number
from service.reliability.life_regression import life_regression
from tests.verdicts.invented_renewals import Renewals, renewals

QUESTION = "life regression"
# what, positions, shape, watch, sigma of positions; most false claims at 0.05 in an independent simulation (0.02-0.07 a
# stay, 0.013-0.093 a maker phased in, 0.03-0.073 a covariate of 150 positions)
NULL = tuple(
    (what, positions, shape, watch, sigma, most)
    for what, positions, most in (
        ("of the stay", 60, 0.07),
        ("maker phased in", 150, 0.093),
        ("of the position", 150, 0.073),
    )
    for shape, watch in ((1.0, 3.0), (2.0, 3.0), (3.0, 1.5))
    for sigma in (0.0, 0.5)
)


def claims(plants: int, seed: int) -> list[dict[str, Any]]:
    """Return the share of plants on which an effect is claimed at 0.05, and how often a true ratio of 2 is found."""
    rng = np.random.default_rng(seed)
    found = []
    for what, positions, shape, watch, sigma, most in NULL:
        p = [_p(rng, _plant(rng, positions, shape, watch, sigma), what) for _ in range(plants)]
        setting = f"{what}, {positions} positions, shape {shape:g}, watched {watch:g} lives, sigma {sigma:g}"
        found.append(_row("an effect is claimed", setting, plants, p, 0.0, most))
    p = [_p(rng, _doubled(rng), "marked") for _ in range(plants)]
    found.append(_row("a doubled rate is found", "150 positions, half the stays, shape 2", plants, p, 0.9, 1.0))
    return found


def _plant(rng: np.random.Generator, positions: int, shape: float, watch: float, sigma: float) -> Renewals:
    return renewals(rng, positions=positions, shape=shape, watch=watch, sigma=sigma)


def _doubled(rng: np.random.Generator) -> Renewals:
    """A plant on which stays fitted in the second half of any week have twice the rate at shape 2."""
    return renewals(
        rng, positions=150, shape=2.0, watch=3.0, factor=lambda _, __, begin: np.where(_mark(begin), 2 ** (-1 / 2), 1.0)
    )


def _mark(begin: np.ndarray) -> np.ndarray:
    return (begin * 1000) % 1 > 0.5


def _p(rng: np.random.Generator, plant: Renewals, what: str) -> float | None:
    n = len(plant.begin)
    if what == "of the stay":
        asked = number("clearance_place", rng.standard_normal(n))
    elif what == "of the position":
        asked = number("radial_load", rng.standard_normal(int(plant.position.max()) + 1)[plant.position])
    elif what == "marked":
        asked = number("marked", _mark(plant.begin).astype(float))
    else:  # makers B and C come into use later and later
        late = plant.begin / plant.now
        code = (rng.random(n) < late).astype(int) + (rng.random(n) < late**2)
        asked = kind("manufacturer", code, ["A", "B", "C"], plant.failed)
    found = life_regression(
        time_h=plant.age, failed=plant.failed, entry_h=np.zeros(n), stratum=plant.period, asset=plant.position,
        position=plant.position, covariates=[asked],
    ).items[0]  # fmt: skip
    return found.p_value


def _row(claim: str, setting: str, plants: int, p: list[float | None], least: float, most: float) -> dict[str, Any]:
    share = sum(one is not None and one <= 0.05 for one in p) / plants
    return {"question": QUESTION, "claim": claim, "setting": setting, "plants": plants, "share": share,
            "least": least, "most": most}  # fmt: skip
