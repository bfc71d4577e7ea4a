"""Is it said to be worth replacing at an age only where it is? Invented groups of lives, half of them censored."""

from typing import Any

import numpy as np

from service.reliability.lives import lives
from service.reliability.replacement_verdict import LEVEL, best_ages, replacement_verdict
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import likelihood_ratio_shape

QUESTION = "replacement age"
# shape, cost ratio, lives; least and most of "worth it", from an independent simulation of the same settings
SAID = (
    (1.0, 5.0, 20, 0.0, 0.043),  # nothing wears out: replacing only costs
    (1.0, 20.0, 60, 0.0, 0.03),
    (1.2, 2.0, 20, 0.0, 0.043),  # replacing saves nothing worth while
    (1.2, 2.0, 200, 0.0, 0.03),
    (3.0, 5.0, 20, 0.89, 1.0),
    (3.0, 5.0, 60, 0.99, 1.0),
    (1.8, 5.0, 60, 0.70, 1.0),
    (1.8, 5.0, 200, 0.99, 1.0),
)
COVERED = ((1.8, 5.0, 60), (3.0, 2.0, 20), (3.0, 20.0, 200), (1.8, 20.0, 20))  # nominal 0.90; 0.84-0.93 expected


def claims(plants: int, seed: int) -> list[dict[str, Any]]:
    """Return the share of groups for which "worth it" is said, and of ranges of the age that hold the best age."""
    rng = np.random.default_rng(seed)
    found = []
    for shape, ratio, n, least, most in SAID:
        verdicts = [one.verdict for one in _answers(rng, plants, shape, ratio, n)]
        share = verdicts.count("worth_it") / plants
        found.append(_row("worth it is said", shape, ratio, n, plants, share, least, most))
    for shape, ratio, n in COVERED:
        best = float(best_ages(np.array([shape]), ratio)[0])
        hit = 0
        for one in _answers(rng, plants, shape, ratio, n):
            lower, upper = one.age_h.lower, one.age_h.upper
            hit += lower is not None and lower <= best <= (np.inf if upper is None else upper)
        found.append(_row("range of the age holds the best", shape, ratio, n, plants, hit / plants, 0.84, 0.93))
    return found


def _answers(rng: np.random.Generator, plants: int, shape: float, ratio: float, n: int) -> list[Any]:
    life, stop = rng.weibull(shape, plants * n), rng.weibull(shape, plants * n)
    fits = weibull_fits(lives(np.minimum(life, stop), life <= stop, group=np.repeat(np.arange(plants), n)))
    costs = {"preventive_cost": 1.0, "failure_cost": ratio}
    within = likelihood_ratio_shape(fits, LEVEL)
    return [replacement_verdict(fits, at, **costs, of_shape=within) for at in range(len(fits.group))]


def _row(
    claim: str, shape: float, ratio: float, n: int, plants: int, share: float, least: float, most: float
) -> dict[str, Any]:
    setting = f"shape {shape:g}, cost ratio {ratio:g}, {n} lives"
    return {"question": QUESTION, "claim": claim, "setting": setting, "plants": plants, "share": float(share),
            "least": least, "most": most}  # fmt: skip
