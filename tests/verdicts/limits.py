"""Do limits lie on the wrong side of the truth no more often than they say? Invented groups of lives."""

from typing import Any

import numpy as np

from service.reliability.common_shape import shape_in_common
from service.reliability.cumulative_incidence import cumulative_incidence
from service.reliability.kaplan_meier import survival_steps
from service.reliability.lives import Lives, lives
from service.reliability.survival_quantiles import survival_quantile
from service.reliability.unrecorded_damage import CENSORED, OTHER_MODE, THIS_MODE, UNRECORDED, mode_lives
from service.reliability.weibull import weibull_fits
from service.reliability.weibull_limits import calibrated_lower_quantile_h, likelihood_ratio_quantile_h

QUESTION = "limits"
SHAPE = 2.0
WINDOW = 0.6  # age at which shares are looked at, over the scale


def claims(plants: int, seed: int) -> list[dict[str, Any]]:
    """Return shares of limits beyond the truth; least and most are those of an independent simulation, or nominal."""
    rng = np.random.default_rng(seed)
    return [
        *_survival_quantiles(rng, plants),
        *_incidence(rng, plants),
        *_calibrated(rng, plants),
        *_late_entry(rng, plants),
        *_common_shape(rng, plants),
        *_unrecorded(rng, plants),
    ]


def _survival_quantiles(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    found = []
    for n in (20, 50, 200):
        for name, share in (("B10", 0.1), ("median", 0.5)):
            truth = (-np.log1p(-share)) ** (1 / SHAPE)
            steps = survival_steps(_half_censored(rng, plants, n, 1.5))
            limits = [survival_quantile(steps, one, share) for one in range(plants)]
            above = sum(one.lower_h is not None and one.lower_h > truth for one in limits) / plants
            below = sum(one.upper_h is not None and one.upper_h < truth for one in limits) / plants
            setting = f"{name} of the survival curve, {n} lives, 95 %"
            found.append(_row("lower limit above the truth", setting, plants, above, 0.0, 0.029))
            found.append(_row("upper limit below the truth", setting, plants, below, 0.0, 0.051))
    return found


def _incidence(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    found = []
    grid = np.linspace(0, WINDOW, 2001)
    middle = (grid[1:] + grid[:-1]) / 2
    # two modes of hazards 2 t and 1.5 t^0.5: share of the first = integral of its hazard times survival of both
    truth = float(np.sum(2 * middle * np.exp(-(middle**2) - middle**1.5) * np.diff(grid)))
    for n in (30, 400):
        first, second = (rng.weibull(shape, (plants, n)) for shape in (2.0, 1.5))
        stop = rng.uniform(0.2, 2.5, (plants, n))
        time = np.minimum(np.minimum(first, second), stop)
        data = lives(time.ravel(), (time < stop).ravel(), group=np.repeat(np.arange(plants), n))
        steps = cumulative_incidence(data, (time == first).ravel())
        limits = [steps.at(one, WINDOW) for one in range(plants)]
        above = sum(lower is not None and lower > truth for _, lower, _ in limits) / plants
        below = sum(upper is not None and upper < truth for _, _, upper in limits) / plants
        setting = f"share failed by a mode, {n} lives, 95 %"
        found.append(_row("lower limit above the truth", setting, plants, above, 0.0, 0.029))
        found.append(_row("upper limit below the truth", setting, plants, below, 0.0, 0.034))
    return found


def _calibrated(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    found = []
    truth = (-np.log(0.9)) ** (1 / SHAPE)
    for n in (5, 10, 30):
        complete = lives(rng.weibull(SHAPE, plants * n), [True] * (plants * n), group=np.repeat(np.arange(plants), n))
        for words, data in (("complete", complete), ("half censored", _half_censored(rng, plants, 2 * n, 1.0))):
            fits = weibull_fits(data)
            fits_of_five = fits.failures >= 5
            lower = calibrated_lower_quantile_h(fits, 0.1, 0.90)[fits_of_five]
            setting = f"calibrated lower limit of B10, {n} failures, {words}, one-sided 95 %"
            found.append(
                _row("lower limit above the truth", setting, len(lower), float(np.mean(lower > truth)), 0.0, 0.06)
            )
    return found


def _late_entry(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    found = []
    truth = (-np.log(0.9)) ** (1 / SHAPE)
    for n, share in ((15, 1.0), (30, 0.5)):
        size = plants * n
        life, entry = rng.weibull(SHAPE, 8 * size), rng.uniform(0.05, 1.2, 8 * size)
        entry = np.where(rng.random(8 * size) < share, entry, 0.0)
        seen = np.flatnonzero(life > entry)[:size]
        group = np.repeat(np.arange(plants), n)
        fits = weibull_fits(lives(life[seen], np.ones(size, dtype=bool), entry_h=entry[seen], group=group))
        limits = likelihood_ratio_quantile_h(fits, 0.1)
        setting = f"B10, {n} lives, {share:.0%} entered late, 95 %"
        # nominal 0.025; with 15 complete lives the likelihood ratio has 0.053 and 0.045 (10 and 23 lives)
        above, below = float(np.mean(limits.lower > truth)), float(np.mean(limits.upper < truth))
        found.append(_row("lower limit above the truth", setting, len(fits.group), above, 0.0, 0.055))
        found.append(_row("upper limit below the truth", setting, len(fits.group), below, 0.0, 0.055))
    return found


def _common_shape(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    found = []
    for k, n in ((3, 20), (10, 20), (10, 60)):
        said = 0
        for _ in range(plants):
            p = shape_in_common(_half_censored(rng, k, n, 1.0)).p_value
            said += p is not None and p <= 0.05
        setting = f"{k} classes of one shape, about {n // 2} failures each"
        found.append(_row("shapes are said to differ", setting, plants, said / plants, 0.0, 0.054))
    return found


def _unrecorded(rng: np.random.Generator, plants: int) -> list[dict[str, Any]]:
    """Median B10 of a mode over the truth, half of the failures without recorded damage."""
    found = []
    truth = 2 * (-np.log(0.9)) ** (1 / 1.2)
    ratios: dict[str, list[float]] = {"shared": [], "left_out": [], "other_mode": []}
    for _ in range(plants):
        first, second, stop = rng.weibull(1.2, 400) * 2, rng.weibull(3.0, 400), rng.weibull(2.0, 400) * 1.5
        age = np.minimum(np.minimum(first, second), stop)
        kind = np.where(age == stop, CENSORED, np.where(age == first, THIS_MODE, OTHER_MODE))
        kind = np.where((kind > 0) & (rng.random(400) < 0.5), UNRECORDED, kind)
        zero = np.zeros(400, dtype=int)
        for way, of_way in ratios.items():
            data = mode_lives(age, np.zeros(400), kind, zero, zero, unrecorded=way).data  # type: ignore[arg-type]
            if data is not None:
                of_way.append(float(weibull_fits(data).quantile_h(0.1)[0]) / truth)
    for way, (least, most) in (("shared", (0.93, 1.07)), ("left_out", (1.08, 1.5)), ("other_mode", (1.2, 2.0))):
        setting = f"half of 400 lives' failures without damage, {way}"
        found.append(_row("median B10 over the truth", setting, plants, float(np.median(ratios[way])), least, most))
    return found


def _half_censored(rng: np.random.Generator, groups: int, n: int, stop_scale: float) -> Lives:
    life, stop = rng.weibull(SHAPE, groups * n), stop_scale * rng.weibull(SHAPE, groups * n)
    return lives(np.minimum(life, stop), life <= stop, group=np.repeat(np.arange(groups), n))


def _row(claim: str, setting: str, plants: int, share: float, least: float, most: float) -> dict[str, Any]:
    return {"question": QUESTION, "claim": claim, "setting": setting, "plants": plants, "share": float(share),
            "least": least, "most": most}  # fmt: skip
