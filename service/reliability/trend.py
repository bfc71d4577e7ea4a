"""Is a position, or a class of positions, getting worse? Tests of trend and the power law of the events."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from scipy.special import chdtrc, chdtri, ndtr

from service import units
from service.reliability.recurrence import Watched
from service.words import Strength

FEWEST_EVENTS: Final = 4
FEW_EVENTS: Final = 10
SIGNIFICANT: Final = 0.05
Verdict = Literal["worse", "better", "no_trend_seen"]


@dataclass(frozen=True, slots=True)
class TrendTest:
    """A statistic with its two-sided p-value; above zero means worse for the normal ones."""

    statistic: float
    p_value: float

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"statistic": self.statistic, "p_value": self.p_value}


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Expected events of one position by age t: (t / scale)^shape; shape above 1 means worse.

    ``exact``: all positions were watched over the same time from new, so that the limits of the shape are exact.
    """

    shape: float
    scale_h: float
    intensity_factor: float
    shape_lower: float
    shape_upper: float
    shape_unbiased: float
    exact: bool

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "shape": {"estimate": self.shape, "lower": self.shape_lower, "upper": self.shape_upper},
            "shape_unbiased": self.shape_unbiased,
            "scale": units.Quantity("time", self.scale_h),
            "limits_exact": self.exact,
        }


@dataclass(frozen=True, slots=True)
class Trend:
    """What the tests say. Members are None where the data do not carry the test."""

    events: int
    positions: int
    strength: Strength
    verdict: Verdict | None
    laplace: TrendTest | None
    lewis_robinson: TrendTest | None
    mil_hdbk_189: TrendTest | None
    power_law: PowerLaw | None

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        tests = {"laplace": self.laplace, "lewis_robinson": self.lewis_robinson, "mil_hdbk_189": self.mil_hdbk_189}
        return {
            "events": self.events,
            "positions": self.positions,
            "strength": self.strength,
            "verdict": self.verdict,
            "detail": self.detail,
            **{name: test.record() if test else None for name, test in tests.items()},
            "power_law": self.power_law.record() if self.power_law else None,
        }

    @property
    def detail(self) -> str:
        """Return the sentence that says how much the verdict is worth."""
        if self.strength == "refused":
            return f"{self.events} events; no trend is tested below {FEWEST_EVENTS}."
        weak = f" Weak: {self.events} events, fewer than {FEW_EVENTS}." if self.strength == "weak" else ""
        if self.verdict is None:
            return (
                "The intervals between events do not vary, so the test that holds for renewals does not exist." + weak
            )
        said = {"worse": "Getting worse.", "better": "Getting better.", "no_trend_seen": "No trend seen."}
        return said[self.verdict] + weak


def trend(systems: Sequence[Watched], *, level: float = 0.95) -> Trend:
    """Return the tests of trend of one position or of several together.

    The verdict is that of Lewis and Robinson, which holds for any renewal process: each replacement as good as new.
    Where watching stopped at the last event, that event closes the time and is not counted.
    """
    counted = [_without_closing_event(one) for one in systems]
    events = sum(len(one.events_h) for one in counted)
    if events < FEWEST_EVENTS:
        return Trend(events, len(counted), "refused", None, None, None, None, None)
    renewal = lewis_robinson(counted)
    return Trend(
        events,
        len(counted),
        "weak" if events < FEW_EVENTS else "normal",
        _verdict(renewal),
        laplace(counted),
        renewal,
        mil_hdbk_189(counted),
        power_law(counted, level=level),
    )


def laplace(systems: Sequence[Watched]) -> TrendTest:
    """Return the centroid test; powerful against a log-linear trend; assumes a Poisson process.

    Source
    ------
    Cox & Lewis 1966; NIST/SEMATECH e-Handbook, 8.2.3.4. Numerators and variances are summed over the positions.
    """
    excess = sum(sum(one.events_h) - len(one.events_h) * (one.from_h + one.until_h) / 2 for one in systems)
    variance = sum(len(one.events_h) * (one.until_h - one.from_h) ** 2 / 12 for one in systems)
    return _normal_test(excess / math.sqrt(variance))


def lewis_robinson(systems: Sequence[Watched]) -> TrendTest | None:
    """Return Laplace's statistic divided by the coefficient of variation of the intervals; None: it is zero.

    Source
    ------
    Lewis & Robinson 1974 (from memory); Ascher & Feingold 1984.
    """
    gaps = np.concatenate([np.diff((one.from_h, *sorted(one.events_h))) for one in systems])
    variation = float(np.std(gaps, ddof=1) / np.mean(gaps))
    return _normal_test(laplace(systems).statistic / variation) if variation > 1e-12 else None


def mil_hdbk_189(systems: Sequence[Watched]) -> TrendTest | None:
    """Return chi2 = 2 sum ln(T/t) on 2k degrees of freedom; small: worse. None when a position entered late.

    Source
    ------
    MIL-HDBK-189 (1981); NIST/SEMATECH e-Handbook, 8.2.3.4.
    """
    if any(one.from_h > 0 for one in systems):
        return None
    events = sum(len(one.events_h) for one in systems)
    chi2 = 2 * sum(math.log(one.until_h / age) for one in systems for age in one.events_h)
    upper = float(chdtrc(2 * events, chi2))
    return TrendTest(chi2, 2 * min(upper, 1 - upper))


def power_law(systems: Sequence[Watched], *, level: float = 0.95) -> PowerLaw | None:
    """Return the maximum likelihood power law; None when the likelihood does not turn.

    Source
    ------
    Crow 1975, AMSAA TR-138. Same time of observation T: beta = k / sum ln(T/t), lambda = k / (q T^beta).
    """
    ages = np.array([age for one in systems for age in one.events_h])
    begin, end = np.array([one.from_h for one in systems]), np.array([one.until_h for one in systems])
    k, same = len(ages), bool(np.all(end == end[0]) and np.all(begin == 0))
    logs = float(np.sum(np.log(end[0] / ages))) if same else 0.0
    shape = k / logs if logs > 0 else _power_law_shape(ages, begin, end)
    if shape is None:
        return None
    largest = float(end.max())
    scaled = float(np.sum((end / largest) ** shape - (begin / largest) ** shape))
    scale_h = largest * (scaled / k) ** (1 / shape)
    tail = (1 - level) / 2
    lower, upper = (shape * float(chdtri(2 * k, one)) / (2 * k) for one in (1 - tail, tail))
    intensity = float(np.exp(np.log(k) - np.log(scaled) - shape * np.log(largest)))
    return PowerLaw(shape, scale_h, intensity, lower, upper, shape * (k - 1) / k, same)


def reversals(intervals_h: Sequence[float]) -> tuple[int, int]:
    """Return how many pairs of intervals have the later one longer, and how many pairs there are; many: better.

    Source
    ------
    NIST/SEMATECH e-Handbook, 8.2.3.4, reverse arrangement test.
    """
    k = len(intervals_h)
    pairs = [(a, b) for a in range(k) for b in range(a + 1, k)]
    return sum(intervals_h[a] < intervals_h[b] for a, b in pairs), len(pairs)


def _power_law_shape(ages: Any, begin: Any, end: Any) -> float | None:
    """Return the root of the score of the shape, bisected in the log; None: no sign change in 1e-3 ... 1e3."""
    largest = float(end.max())
    logs = float(np.sum(np.log(ages / largest)))
    k = len(ages)
    x_end, x_begin = np.log(end / largest), np.log(begin[begin > 0] / largest)

    def _score(shape: float) -> float:
        e, b = np.exp(shape * x_end), np.exp(shape * x_begin)
        return float(k / shape + logs - k * (e @ x_end - b @ x_begin) / (e.sum() - b.sum()))

    low, high = 1e-3, 1e3
    if not _score(low) > 0 > _score(high):
        return None
    while high / low > 1 + 1e-13:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if _score(middle) > 0 else (low, middle)
    return math.sqrt(low * high)


def _without_closing_event(one: Watched) -> Watched:
    """Return the position without an event that ended its observation."""
    if one.events_h and max(one.events_h) == one.until_h:
        return Watched(tuple(sorted(one.events_h)[:-1]), one.until_h, one.from_h)
    return one


def _normal_test(statistic: float) -> TrendTest:
    return TrendTest(float(statistic), 2 * float(ndtr(-abs(statistic))))


def _verdict(test: TrendTest | None) -> Verdict | None:
    if test is None:
        return None
    if test.p_value > SIGNIFICANT:
        return "no_trend_seen"
    return "worse" if test.statistic > 0 else "better"
