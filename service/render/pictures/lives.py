"""Pictures of the life of one group: the Weibull probability plot with its limits, and the survival in steps."""

import math
from typing import Final

import numpy as np

from service.errors import Text
from service.reliability.group_life import GroupLife
from service.reliability.kaplan_meier import SurvivalSteps
from service.reliability.life_analysis import LifeAnalysis
from service.reliability.survival_quantiles import SurvivalQuantile
from service.reliability.weibull_limits import likelihood_ratio_quantile_h, log_normal_quantile_h
from service.render.pictures.drawing import Box, Circle, Drawing, Line, Point
from service.render.pictures.plots import DASHES, LEFT, RIGHT, Axis, axes, linear_ticks, log_ticks, path, shown, steps
from service.render.pictures.svg import svg

HEIGHT: Final = 250.0
BINS_HEIGHT: Final = 110.0
SHARES: Final = (0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999)
DRAWN_SHARES: Final = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.9, 0.97, 0.99, 0.999)
AGE_LABEL: Final = "age, hours of operation"


def probability_picture(analysis: LifeAnalysis, item: GroupLife) -> str:
    """Return the probability plot of a group as SVG: failures, fit and limits on axes where a Weibull is straight."""
    drawing = Drawing(f"Probability plot: {item.facts.label}")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(_counts(item))
    drawing.paragraph(in_hours(item.detail), bold=item.misfit)
    drawing.paragraph(_estimate(item))
    points = plotted(item)
    if not points:
        drawing.paragraph("Nothing has failed, so there is nothing to plot.")
        return svg(drawing, name="probability")
    lines = fit_lines(analysis, item)
    x, y = _probability_axes(drawing, points, item)
    share_ticks = [(one, f"{one * 100:g} %") for one in SHARES if y.holds(one)]
    hour_ticks = [(one, shown(one)) for one in log_ticks(x.low, x.high)]
    axes(drawing, x=x, y=y, x_ticks=hour_ticks, y_ticks=share_ticks, x_label=AGE_LABEL, y_label="share failed")
    for part, line in lines.items():
        path(drawing, x, y, line, dash="" if part == "fit" else DASHES, part=part)
    for age, share in points:
        drawing.add(Circle((x.at(age), y.at(share)), 3.0, fill="black", stroke=1.0, part="failure"))
    drawing.paragraph(_said_of_lines(item, lines), size=11)
    if item.misfit:
        _draw_bins(drawing, item)
    _say_what_to_read(drawing, item)
    return svg(drawing, name="probability")


def survival_picture(analysis: LifeAnalysis, item: GroupLife, *, name: str = "survival") -> str:
    """Return the survival of a group as SVG, in steps with their limits; no model.

    Parameters
    ----------
    name : str
        What its ids begin with: must differ where two pictures stand on one page.
    """
    drawing = Drawing(f"Survival: {item.facts.label}")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(_counts(item))
    found = item.steps
    rows = found.rows_of(item.number)
    top = drawing.height + 26
    x = Axis(0.0, item.largest_age_h, LEFT, RIGHT)
    y = Axis(0.0, 1.0, top + HEIGHT, top)
    ticks = [(one, shown(one)) for one in linear_ticks(x.low, x.high)]
    shares = [(one, f"{one * 100:g} %") for one in (0, 0.2, 0.4, 0.6, 0.8, 1.0)]
    axes(drawing, x=x, y=y, x_ticks=ticks, y_ticks=shares, x_label=AGE_LABEL, y_label="share that survives")
    steps(drawing, x, y, _line(found, rows, found.survival), start=1.0, end=x.high, part="survival")
    known = found.limits_known[rows]
    for name, column in (("lower", found.lower), ("upper", found.upper)):
        line = [point for point, is_known in zip(_line(found, rows, column), known, strict=True) if is_known]
        if line:
            until = x.high if bool(known.all()) else line[-1][0]
            steps(drawing, x, y, line, start=1.0, end=until, part=name, thin=True)
    said = (
        f"Thick line: share that survives (Kaplan-Meier). Thin: {found.level:.0%} limits at each age "
        f"({found.limit_kind.replace('_', '-')})."
    )
    quantiles = ((0.9, "B10", item.survival_b10), (0.5, "median", item.survival_median))
    for height, words, quantile in quantiles:
        said += _draw_quantile(drawing, x, y, height, words, quantile)
    drawing.paragraph(said, size=11)
    _say_what_to_read(drawing, item)
    return svg(drawing, name=name)


def _draw_quantile(drawing: Drawing, x: Axis, y: Axis, height: float, words: str, found: SurvivalQuantile) -> str:
    """Draw where a share of the survival is crossed, from limit to limit, and return what is said of it."""
    if found.estimate_h is None:
        return f" {words[0].upper()}{words[1:]} not reached."
    low = x.low if found.lower_h is None else found.lower_h
    high = x.high if found.upper_h is None else found.upper_h
    place = y.at(height)
    drawing.add(Line((x.at(low), place), (x.at(high), place), 1.2, DASHES, part="quantile"))
    drawing.add(Circle((x.at(found.estimate_h), place), 3.0, fill="black", stroke=1.0, part="quantile"))
    ends = " to ".join("open" if one is None else f"{one:.5g}" for one in (found.lower_h, found.upper_h))
    return f" {words[0].upper()}{words[1:]} {found.estimate_h:.5g} h ({ends}): dot and dashes."


def _draw_bins(drawing: Drawing, item: GroupLife) -> None:
    """Draw the failures of each bin of age, seen beside expected from the fit: where it misfits."""
    bins = item.fit_bins
    drawing.paragraph("Where the fit misses: failures by age, seen (full) and expected from the fit (open).", size=11)
    top = drawing.height + 26
    most = max(max(one["observed"], one["expected"]) for one in bins) * 1.1
    x, y = Axis(0.0, float(len(bins)), LEFT, RIGHT), Axis(0.0, most, top + BINS_HEIGHT, top)
    begins = [(float(n), shown(float(f"{one['from'].value:.2g}"))) for n, one in enumerate(bins)]
    counts = [(one, shown(one)) for one in linear_ticks(0.0, most)]
    label = "from this age, hours of operation"
    axes(drawing, x=x, y=y, x_ticks=begins, y_ticks=counts, x_label=label, y_label="failures")
    width = (x.end - x.begin) / len(bins) * 0.36
    for n, one in enumerate(bins):
        for shift, name, fill in ((0.08, "observed", "black"), (0.54, "expected", "none")):
            height = y.at(one[name])
            drawing.add(Box(x.at(n + shift), height, width, y.begin - height, fill=fill, part=f"bin-{name}"))
        numbers = f"{one['observed']:g} seen, {one['expected']:.3g} expected"
        drawing.described.append(f"From {one['from'].value:.5g} h: {numbers}")


def _line(found: SurvivalSteps, rows: slice, column: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[Point]:
    return list(zip(found.time_h[rows].tolist(), column[rows].tolist(), strict=True))


def _counts(item: GroupLife) -> str:
    failed, censored = round(item.failed), round(item.units - item.failed)
    left_out = sum(one["count"] for one in item.facts.excluded)
    more = f", {left_out} left out" if left_out else ""
    return f"{item.facts.stays} stays: {failed} failed, {censored} censored{more}; {item.exposure_h:,.0f} h observed."


def _estimate(item: GroupLife) -> str:
    fit = item.weibull
    if fit is None:
        bound = item.bound
        if bound is None:
            return "No estimate."
        return (
            f"No estimate. B10 is at least {bound.assumed.b10_lower_h:.5g} h at {bound.level:.0%}, if the shape is "
            f"{bound.assumed.shape:g} ({bound.origin})."
        )
    shape, b10 = fit.shape, fit.b10_h
    return (
        f"{'Not supported: shape' if item.misfit else 'Shape'} {shape.estimate:.3g} "
        f"({_limit(shape.lower)} to {_limit(shape.upper)}), scale "
        f"{fit.scale_h.estimate:.5g} h, B10 {b10.estimate:.5g} h ({_limit(b10.lower)} to {_limit(b10.upper)} h); "
        f"{fit.level:.0%} limits, {fit.interval_kind.replace('_', ' ')}."
    )


def _limit(value: float | None) -> str:
    return "no limit" if value is None else f"{value:.4g}"


def plotted(item: GroupLife) -> list[Point]:
    """Return the failures at half the height of their step (Meeker & Escobar 1998, ch. 6)."""
    found, rows = item.steps, item.steps.rows_of(item.number)
    after = found.survival[rows]
    before = np.concatenate(([1.0], after[:-1])) if len(after) else after
    return list(zip(found.time_h[rows].tolist(), (1 - (before + after) / 2).tolist(), strict=True))


def fit_lines(analysis: LifeAnalysis, item: GroupLife) -> dict[str, list[Point]]:
    """Return the fitted line and its limits, pointwise for each share failed."""
    if item.weibull is None:
        return {}
    fits = analysis.fits
    at = analysis.fit_of(item)
    fitted: list[Point] = []
    lower: list[Point] = []
    upper: list[Point] = []
    for share in DRAWN_SHARES:
        fitted.append((float(fits.quantile_h(share)[at]), share))
        if item.weibull.interval_kind == "log_normal":
            limits = log_normal_quantile_h(fits, share, item.weibull.level)
        else:
            limits = likelihood_ratio_quantile_h(fits, share, item.weibull.level)
        lower.append((float(limits.lower[at]), share))
        upper.append((float(limits.upper[at]), share))
    return {"fit": fitted, "lower": lower, "upper": upper}


def _probability_axes(drawing: Drawing, points: list[Point], item: GroupLife) -> tuple[Axis, Axis]:
    first, last = points[0][0], max(item.largest_age_h, points[-1][0])
    lowest = min(points[0][1], 0.05)
    low = max([one for one in SHARES if one <= lowest], default=SHARES[0])
    high = min([one for one in SHARES if one >= max(points[-1][1], 0.5)], default=SHARES[-1])
    top = drawing.height + 26
    x = Axis(first / 3, last * 1.5, LEFT, RIGHT, math.log)
    return x, Axis(low, high, top + HEIGHT, top, _weibull_height)


def _weibull_height(share: float) -> float:
    return math.log(-math.log1p(-share))


def _said_of_lines(item: GroupLife, lines: dict[str, list[Point]]) -> str:
    dots = "Dots: failures at half the height of their step of the survival."
    if not lines or item.weibull is None:
        return dots
    return f"{dots} Full line: Weibull fit. Dashed: {item.weibull.level:.0%} limits of the age at each share failed."


def _say_what_to_read(drawing: Drawing, item: GroupLife) -> None:
    for warning in item.warnings:
        drawing.paragraph(f"Note: {in_hours(warning.detail)}", size=11)


def in_hours(text: Text) -> str:
    """Return a sentence about hours as words."""
    return text if isinstance(text, str) else "".join(map(_word, text))


def _word(part: object) -> str:
    value = getattr(part, "value", None)
    return str(part) if value is None else f"{value:.5g} h"
