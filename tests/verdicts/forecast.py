"""Does the range of replacements to come hold what came? Invented plants that go on after the question."""

from typing import Any

import numpy as np

from service.reliability.replacement_forecast import ReplacementForecast, replacement_forecast
from tests.verdicts.invented_renewals import Renewals, renewals

QUESTION = "replacement forecast"
HORIZON = 0.5  # mean lives
# positions, shape, watch, sigma of positions: a range of 90 % is to hold 85 to 100 %
PLANTS = (
    (50, 1.0, 3.0), (50, 2.0, 3.0), (200, 1.5, 1.0), (200, 1.5, 3.0), (200, 3.0, 3.0), (1000, 2.0, 1.0),
    (1000, 2.0, 3.0),
)  # fmt: skip
SETTINGS = tuple((*plant, sigma) for plant in PLANTS for sigma in (0.0, 0.5))


def claims(plants: int, seed: int) -> list[dict[str, Any]]:
    """Return the share of plants on which the failures that came lie within the range, of those with a forecast."""
    rng = np.random.default_rng(seed)
    found = []
    for positions, shape, watch, sigma in SETTINGS:
        held = []
        for _ in range(plants):
            plant = renewals(rng, positions=positions, shape=shape, watch=watch, sigma=sigma, beyond=HORIZON)
            one = asked(plant).total.failures
            if one is not None:
                came = np.count_nonzero(plant.failed & (plant.end > plant.now))
                held.append(one.lower <= came <= one.upper)
        setting = f"{positions} positions, shape {shape:g}, watched {watch:g} lives, sigma {sigma:g}"
        share = float(np.mean(held)) if held else None
        found.append({"question": QUESTION, "claim": "the range of 90 % holds what came", "setting": setting,
                      "plants": len(held), "share": share, "least": 0.85, "most": 1.0})  # fmt: skip
    return found


def asked(plant: Renewals, draws: int = 200) -> ReplacementForecast:
    """Return the forecast from what was known at the time."""
    known = plant.begin < plant.now
    begin, end = plant.begin[known], np.minimum(plant.end[known], plant.now)
    failed = plant.failed[known] & (plant.end[known] <= plant.now)
    zero, none = np.zeros(len(begin)), np.zeros(len(begin), dtype=int)
    return replacement_forecast(
        now_h=plant.now, horizon_h=HORIZON, begin_h=begin, end_h=end, age_h=end - begin, entry_h=zero, carried_h=zero,
        failed=failed, running=~failed, by_plan=none.astype(bool), class_number=none, group=none, duty=zero + 1,
        draws=draws,
    )  # fmt: skip
