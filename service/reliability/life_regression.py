"""Which facts go with a higher failure rate, each with the others held: Cox regression within class and period."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
from scipy.special import betainc, chdtrc, ndtr, stdtrit

from service.findings import Source
from service.reliability.covariates import Covariate
from service.reliability.lives import Bools, Floats, Ints
from service.reliability.proportional_hazards import CoxFit, RiskSets, cox_fit, information_at_zero, risk_sets
from service.reliability.separability import belongs_to_position, told_by_others
from service.reliability.weibull_limits import normal_quantile

Held = Literal["too_few", "not_separable"]
CLUSTERS_FOR_POSITIONS: Final = 80  # below: a covariate of the position is not judged
FAILURES_PER_PARAMETER: Final = 10
LEVEL_OF_CLAIMS: Final = 0.05
LITTLE_POWER: Final = 0.2
SOURCES: Final = (
    Source("cox_1972", "Cox 1972, J. R. Stat. Soc. B 34, 187-220", "handbook"),
    Source("lin_wei_1989", "Lin & Wei 1989, J. Am. Stat. Assoc. 84: errors by clusters", "handbook"),
    Source("grambsch_therneau_1994", "Grambsch & Therneau 1994, Biometrika 81: proportional hazards", "handbook"),
)


@dataclass(frozen=True, slots=True)
class Ratio:
    """Ratio of failure rates for a step of a number, or of a kind to the reference, with limits, [-]."""

    label: str
    estimate: float
    lower: float
    upper: float

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {"label": self.label, "estimate": self.estimate, "lower": self.lower, "upper": self.upper}


@dataclass(frozen=True, slots=True)
class Proportionality:
    """Whether the ratio is the same at all ages; ``below`` and ``above`` the median failure age where it is not.

    ``adjusted_p``: times the covariates of which it is asked.
    """

    p_value: float
    adjusted_p: float
    below: tuple[Ratio, ...]
    above: tuple[Ratio, ...]
    test: str = "grambsch_therneau_ranks"

    @property
    def misfit(self) -> bool:
        """Return whether the ratio changes with age."""
        return self.adjusted_p <= LEVEL_OF_CLAIMS


@dataclass(frozen=True, slots=True)
class RegressionItem:
    """The answer to one covariate.

    ``held`` says why it is not judged; then there are no ratios. ``p_value`` is the larger of Wald's and that by
    clusters, before any adjustment for the other covariates. ``power_for_doubling`` is the probability that a doubled
    rate would be flagged: between the quartiles of a number, or of the best known kind.
    """

    name: str
    held: Held | None
    reason: str
    p_value: float | None
    ratios: tuple[Ratio, ...]
    step: float
    reference: str | None
    of_position: bool
    known: int
    proportional: Proportionality | None
    power_for_doubling: float | None
    needed_failures: int | None
    test: str = "cox_wald_and_clusters"

    def verdict(self, adjusted_p: float | None) -> str:
        """Return the verdict once the p-value is adjusted for the family of covariates."""
        if self.held is not None or adjusted_p is None:
            return self.held or "too_few"
        if adjusted_p <= LEVEL_OF_CLAIMS:
            return "differ"
        few = self.power_for_doubling is not None and self.power_for_doubling < LITTLE_POWER
        return "too_few" if few else "no_evidence"


@dataclass(frozen=True, slots=True)
class LifeRegression:
    """The answers in the order of the covariates, and what they rest on; ``left_out`` lack a covariate."""

    items: tuple[RegressionItem, ...]
    lives: int
    failures: int
    clusters: int
    left_out: int
    log_likelihood: float | None


def life_regression(
    *,
    time_h: Floats,
    failed: Bools,
    entry_h: Floats,
    stratum: Ints,
    asset: Ints,
    position: Ints,
    covariates: Sequence[Covariate],
    level: float = 0.95,
    family: int | None = None,
) -> LifeRegression:
    """Return what goes with a higher failure rate.

    Parameters
    ----------
    time_h, entry_h : ndarray, shape (n,)
        Age at the end and at the beginning of observation, [h]
    failed : ndarray of bool, shape (n,)
        False: censored.
    stratum : ndarray of int, shape (n,)
        Class and period of fitting; only lives of one stratum are compared.
    asset, position : ndarray of int, shape (n,)
        Machine (errors are by machine) and position of each life.
    covariates : sequence of Covariate
        All are fitted together; lives of which one is not known are left out.
    level : float
        Confidence level of the ratios, [-]
    family : int, optional
        Number of hypotheses in the answer, for the power; that of the covariates by default.

    Source
    ------
    See ``proportional_hazards``; limits and p-values are the wider and larger of both errors.
    """
    known = [int(np.count_nonzero(~np.isnan(one.columns).any(axis=1))) for one in covariates]
    if any(known):  # what is on record of no life leaves the others their lives
        covariates = [one if n else _of_no_life(one) for one, n in zip(covariates, known, strict=True)]
    whole = ~np.isnan(np.column_stack([one.columns for one in covariates])).any(axis=1)
    part = _Part(
        time_h[whole], failed[whole], entry_h[whole], stratum[whole].astype(np.int64), asset[whole], position[whole]
    )
    asked = [Covariate(c.name, c.columns[whole], c.labels, c.step, c.reference) for c in covariates]
    failures, left_out = int(np.count_nonzero(part.failed)), int(np.count_nonzero(~whole))
    of_position = [belongs_to_position(one.columns, part.position) for one in asked]
    risk = risk_sets(part.time_h, part.failed, part.entry_h, part.stratum) if failures else None
    held = _held(risk, asked, of_position, part, failures)
    for n, lives_known in enumerate(known):
        if lives_known == 0:
            held[n] = ("too_few", f"{asked[n].name} is on record of no life")
    kept = [n for n, one in enumerate(held) if one is None]
    fit = None
    while kept and risk is not None:
        fit = cox_fit(risk, np.column_stack([asked[n].columns for n in kept]), part.asset)
        if fit.converged:
            break
        for n in _running_away(fit, asked, kept):
            held[n] = ("too_few", f"all failures lie on one side of {asked[n].name}: the ratio has no limit")
        kept, fit = [n for n in kept if held[n] is None], None
    items, at = [], 0
    for n, one in enumerate(asked):
        if fit is None or n not in kept:
            items.append(_unjudged(one, held[n] or ("too_few", ""), of_position[n], known[n], failures, asked))
            continue
        place = slice(at, at + one.columns.shape[1])
        at = place.stop
        items.append(
            _judged(
                fit, place, one, part, [asked[k] for k in kept], of_position[n], known[n], level, family or len(asked)
            )
        )
    clusters = len(np.unique(part.asset)) if fit is None else fit.clusters
    return LifeRegression(
        tuple(items), len(part.time_h), failures, clusters, left_out, None if fit is None else fit.log_likelihood
    )


def _of_no_life(one: Covariate) -> Covariate:
    return Covariate(one.name, np.zeros((len(one.columns), 1)), one.labels[:1], one.step, None)


def proportionality_p(fit: CoxFit, place: slice, rank: Floats) -> tuple[float, float]:
    """Return the statistic and the p-value of a change of the ratio with the rank of the failure age.

    Source
    ------
    Grambsch & Therneau 1994, Biometrika 81, with ranks; the variance of each residual taken as the mean.
    """
    away = rank - rank.mean()
    spread = float(away @ away)
    if spread == 0:
        return 0.0, 1.0
    w = (fit.covariance @ (away @ fit.schoenfeld))[place]
    statistic = float(fit.failures * w @ np.linalg.pinv(fit.covariance[place, place]) @ w / spread)
    return statistic, float(chdtrc(place.stop - place.start, statistic))


def middle_ranks(age: Ints) -> Floats:
    """Return ranks with ties at their middle, so that the order of the rows does not matter, shape (r,), [-]."""
    _, of_row, size = np.unique(age, return_inverse=True, return_counts=True)
    found: Floats = (np.cumsum(size) - (size - 1) / 2)[of_row]
    return found


@dataclass(frozen=True, slots=True)
class _Part:
    """The lives that are complete."""

    time_h: Floats
    failed: Bools
    entry_h: Floats
    stratum: Ints
    asset: Ints
    position: Ints

    def of_rows(self, rows: Bools) -> "_Part":
        """Return some of the lives."""
        ages = self.time_h[rows], self.failed[rows], self.entry_h[rows]
        return _Part(*ages, self.stratum[rows], self.asset[rows], self.position[rows])


def _held(
    risk: RiskSets | None, asked: Sequence[Covariate], of_position: Sequence[bool], part: _Part, failures: int
) -> list[tuple[str, str] | None]:
    """Return why each covariate is not judged, None where it is."""
    parameters = sum(one.columns.shape[1] for one in asked)
    if risk is None or failures < FAILURES_PER_PARAMETER * parameters:
        said = (
            f"{failures} failures with all covariates on record; {FAILURES_PER_PARAMETER} for each of {parameters} "
            "numbers to be estimated are needed"
        )
        return [("too_few", said)] * len(asked)
    found: list[tuple[str, str] | None] = [None] * len(asked)
    machines = len(np.unique(part.asset))
    dependent = told_by_others(information_at_zero(risk, np.column_stack([one.columns for one in asked])), asked)
    for n, one in enumerate(asked):
        if dependent[n]:
            found[n] = ("not_separable", f"{one.name} does not change within strata, or cannot be told from the others")
        elif of_position[n] and machines < CLUSTERS_FOR_POSITIONS:
            said = (
                f"{one.name} belongs to the position: {CLUSTERS_FOR_POSITIONS} machines are needed, here are {machines}"
            )
            found[n] = ("too_few", said)
    return found


def _running_away(fit: CoxFit, asked: Sequence[Covariate], kept: Sequence[int]) -> list[int]:
    """Return the covariates whose coefficients drive a fit out of bounds: the one with the largest by its spread."""
    spread = np.concatenate([asked[n].columns.std(axis=0) for n in kept]) * np.abs(fit.coefficient)
    owner = np.repeat(kept, [asked[n].columns.shape[1] for n in kept])
    return [int(owner[int(np.argmax(spread))])]


def _unjudged(
    one: Covariate, why: tuple[str, str], of_position: bool, known: int, failures: int, asked: Sequence[Covariate]
) -> RegressionItem:
    held: Held = "not_separable" if why[0] == "not_separable" else "too_few"
    parameters = sum(each.columns.shape[1] for each in asked)
    short = failures < FAILURES_PER_PARAMETER * parameters
    needed = FAILURES_PER_PARAMETER * parameters if held == "too_few" and short else None
    return RegressionItem(
        one.name, held, why[1], None, (), one.step, one.reference, of_position, known, None, None, needed
    )


def _judged(
    fit: CoxFit, place: slice, one: Covariate, part: _Part, kept: Sequence[Covariate], of_position: bool, known: int,
    level: float, family: int,
) -> RegressionItem:  # fmt: skip
    freedom = fit.clusters - len(fit.coefficient)
    error = _widest_error(fit, place, level, freedom)
    p_value = _p_value(fit, place, freedom)
    ratios = _ratios(one, fit.coefficient[place], error)
    _, p_age = proportionality_p(fit, place, middle_ranks(fit.failure_age))
    below: tuple[Ratio, ...] = ()
    above: tuple[Ratio, ...] = ()
    of_all = min(1.0, p_age * len(kept))
    if of_all <= LEVEL_OF_CLAIMS:
        below, above = (_ratios_of(part, kept, one, level, upper=upper) for upper in (False, True))
    z = np.log(2) / (error / normal_quantile(level) * _contrast(one))
    enough = normal_quantile(1 - LEVEL_OF_CLAIMS / family)
    best = float(np.max(z))
    needed = int(np.ceil(fit.failures * ((enough + 0.8416) / best) ** 2)) if best > 0 else None
    return RegressionItem(
        one.name, None, "", p_value, ratios, one.step, one.reference, of_position, known,
        Proportionality(p_age, of_all, below, above), float(ndtr(best - enough)), needed,
    )  # fmt: skip


def _contrast(one: Covariate) -> Floats:
    """Return over which difference of each column a doubling is looked for: the quartiles of a number, 1 of a kind."""
    if one.reference is not None:
        return np.ones(one.columns.shape[1])
    quartiles = np.quantile(one.columns, [0.25, 0.75], axis=0)
    spread = quartiles[1] - quartiles[0]
    return np.asarray(np.where(spread > 0, spread, np.ptp(one.columns, axis=0)))


def _widest_error(fit: CoxFit, place: slice, level: float, freedom: int) -> Floats:
    """Return half the width of the interval of each coefficient: the wider by information and by clusters."""
    plain = normal_quantile(level) * np.sqrt(np.diag(fit.covariance)[place])
    t = float(stdtrit(freedom, 0.5 + level / 2)) if freedom > 0 else np.inf
    return np.asarray(np.maximum(plain, t * np.sqrt(np.maximum(np.diag(fit.robust)[place], 0.0))))


def _p_value(fit: CoxFit, place: slice, freedom: int) -> float:
    """Return the larger p-value of the Wald tests by information (chi-square) and by clusters (F)."""
    effect, k = fit.coefficient[place], place.stop - place.start
    plain = float(effect @ np.linalg.pinv(fit.covariance[place, place], hermitian=True) @ effect)
    if freedom <= 0 or fit.clusters <= k:
        return 1.0
    by_cluster = float(effect @ np.linalg.pinv(fit.robust[place, place], hermitian=True) @ effect) / k
    p_cluster = float(betainc(freedom / 2, k / 2, freedom / (freedom + k * max(by_cluster, 0.0))))
    return max(float(chdtrc(k, max(plain, 0.0))), p_cluster)


def _ratios(one: Covariate, coefficient: Floats, error: Floats) -> tuple[Ratio, ...]:
    found = np.exp(np.clip(one.step * np.array([coefficient, coefficient - error, coefficient + error]), -700, 700))
    return tuple(Ratio(label, *(float(value) for value in row)) for label, row in zip(one.labels, found.T, strict=True))


def _ratios_of(
    part: _Part, kept: Sequence[Covariate], one: Covariate, level: float, *, upper: bool
) -> tuple[Ratio, ...]:
    """Return the ratios of one covariate below or above the median failure age, none where they have no limit."""
    middle = float(np.median(part.time_h[part.failed]))
    rows = part.time_h > middle if upper else part.entry_h < middle
    lives = part.of_rows(rows)
    entry = np.maximum(lives.entry_h, middle) if upper else lives.entry_h
    time = lives.time_h if upper else np.minimum(lives.time_h, middle)
    failed = lives.failed if upper else lives.failed & (lives.time_h <= middle)
    columns = np.column_stack([each.columns[rows] for each in kept])
    if not failed.any():
        return ()
    fit = cox_fit(risk_sets(time, failed, entry, lives.stratum), columns, lives.asset)
    freedom = fit.clusters - len(fit.coefficient)
    if not fit.converged or freedom <= 0:
        return ()
    start = sum(each.columns.shape[1] for each in kept[: [each.name for each in kept].index(one.name)])
    place = slice(start, start + one.columns.shape[1])
    return _ratios(one, fit.coefficient[place], _widest_error(fit, place, level, freedom))
