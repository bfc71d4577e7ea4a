"""Pictures about lives for the desk: probability plot, survival, ranking, factors, ratios, and replacements to come."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from markupsafe import Markup

from service.reliability.group_life import GroupLife
from service.reliability.life_analysis import LifeAnalysis
from service.reliability.replacement_forecast import ReplacementForecast
from service.render.desk.plots import Plot, number_ticks, percent_axis, ratio_ticks, upright_axis
from service.render.desk.words import count, hours, plain
from service.render.pictures.lives import SHARES, fit_lines, plotted
from service.render.pictures.plots import Axis, log_ticks

HEIGHT: Final = 300.0
ROW: Final = 44.0
LEAST_RATIO: Final = 0.1
MOST_ROWS: Final = 25
MOST_POINTS: Final = 300
AGE: Final = "age, hours of operation"


def probability_plot(analysis: LifeAnalysis, item: GroupLife) -> Markup | None:
    """Return the probability plot of a group, on axes where a Weibull is straight; None where nothing has failed."""
    points = _thinned(plotted(item))
    if not points:
        return None
    lowest, highest = min(points[0][1], 0.05), max(points[-1][1], 0.5)
    low = max([one for one in SHARES if one <= lowest], default=SHARES[0])
    high = min([one for one in SHARES if one >= highest], default=SHARES[-1])
    lines = fit_lines(analysis, item)
    ages = [age for age, _ in points]
    begin = min([*ages, *(age for age, share in lines.get("fit", ()) if low <= share)])
    x = percent_axis(max(begin * 0.8, 1.0), max(item.largest_age_h, ages[-1]) * 1.2, math.log)
    y = upright_axis(low, high, HEIGHT, _weibull)
    plot = Plot(f"Probability plot of {item.facts.label}; the table has its numbers", x, y, HEIGHT)
    hour_ticks = [(value, f"{value:,.0f}") for value in log_ticks(x.low, x.high, 6)]
    plot.frame(hour_ticks, [(one, f"{one * 100:g} %") for one in SHARES if y.holds(one)], AGE, "failed")
    for name, line in lines.items():
        plot.line(line, "series" if name == "fit" else "limit")
    for age, share in points:
        plot.dot((age, share), f"{hours(age)}: {share:.1%} failed")
    return plot.svg()


def survival_plot(item: GroupLife) -> Markup:
    """Return the survival of a group in steps, with its limits; no model."""
    found, rows = item.steps, item.steps.rows_of(item.number)
    ages = found.time_h[rows].tolist()
    x, y = percent_axis(0.0, max(item.largest_age_h, 1.0)), upright_axis(0.0, 1.0, HEIGHT)
    plot = Plot(f"Share of {item.facts.label} that survives; the table has its numbers", x, y, HEIGHT)
    plot.frame(number_ticks(x.low, x.high), [(n / 5, f"{n * 20} %") for n in range(6)], AGE, "survive")
    known = found.limits_known[rows].tolist()
    for column in (found.lower, found.upper):
        line = [
            (age, value) for age, value, is_known in zip(ages, column[rows].tolist(), known, strict=True) if is_known
        ]
        if line:
            plot.steps(_thinned(line), start=1.0, end=line[-1][0], kind="limit")
    steps = list(zip(ages, found.survival[rows].tolist(), strict=True))
    plot.steps(_thinned(steps), start=1.0, end=x.high)
    for age, value in _thinned(steps):
        plot.dot((age, value), f"{hours(age)}: {value:.1%} survive", "hover", 7.0)
    return plot.svg()


def ranking_plot(items: Sequence[Mapping[str, Any]]) -> Markup | None:
    """Return the ratio of failures seen to expected of each place or group with its limits; None without any."""
    drawn = [one for one in items if one["ratio"] is not None][:MOST_ROWS]
    if not drawn:
        return None
    largest = max(max(one["ratio"]["upper"], LEAST_RATIO * 20) for one in drawn)
    x = percent_axis(LEAST_RATIO, largest * 1.1, math.log)
    height = ROW * len(drawn)
    plot = Plot(
        "Failures seen over expected; the table has the numbers", x, Axis(0.0, float(len(drawn)), 0.0, height), height
    )
    plot.frame(ratio_ticks(x.low, x.high), [], "failures seen / expected", "")
    plot.upright(1.0, 0.0, float(len(drawn)), "what others like it explain", "one")
    for row, one in enumerate(drawn):
        _ranked(plot, row, one)
    return plot.svg()


def _ranked(plot: Plot, row: int, one: Mapping[str, Any]) -> None:
    ratio, bad = one["ratio"], " bad" if one["flagged"] and one["verdict"] == "worse" else ""
    seen = f"{count(one['observed'])} seen, {count(one['expected'])} expected"
    said = (
        f"{one['group']}: {seen}, ratio {plain(ratio['estimate'])} ({plain(ratio['lower'])} to {plain(ratio['upper'])})"
    )
    mark = "FLAGGED " if one["flagged"] else ""
    plot.words((plot.x.low, row), f"{mark}{one['group']}", "name" if one["flagged"] else "row", 17.0)
    plot.level(row + 0.66, ratio["lower"], ratio["upper"], said, f"range{bad}")
    plot.dot((ratio["estimate"], row + 0.66), said, f"dot{bad}", 5.0)


def bins_plot(item: Mapping[str, Any]) -> Markup | None:
    """Return failures seen beside expected in each bin of a factor; None where nothing was compared."""
    bins = [one for one in item["bins"] if one["stays"]]
    if not any(one["observed"] or one["expected"] for one in bins):
        return None
    most = max(max(one["observed"], one["expected"]) for one in bins) * 1.15 or 1.0
    height = ROW * len(bins)
    plot = Plot(
        f"Failures by {item['factor']}", percent_axis(0.0, most), Axis(0.0, float(len(bins)), 0.0, height), height
    )
    plot.frame(number_ticks(0.0, most), [], "failures: seen (dot), expected (open)", "")
    for row, one in enumerate(bins):
        numbers = f"{count(one['observed'])} failed, {count(one['expected'])} expected"
        said = f"{_words(one['bin'])}: {count(one['stays'])} stays, {numbers}"
        plot.words((0.0, row), _words(one["bin"]), "row", 17.0)
        ends = sorted((one["observed"], one["expected"]))
        plot.level(row + 0.66, ends[0], ends[1], said, "range")
        plot.dot((one["expected"], row + 0.66), said, "open dot", 5.0)
        plot.dot((one["observed"], row + 0.66), said, "dot", 5.0)
    return plot.svg()


def ratios_plot(items: Sequence[Mapping[str, Any]]) -> Markup | None:
    """Return the ratios of failure rates of a regression with their limits; None without any."""
    rows = [(one, ratio) for one in items for ratio in one["ratios"] if ratio["lower"] and ratio["upper"]]
    if not rows:
        return None
    low = min(min(ratio["lower"] for _, ratio in rows), 0.5)
    high = max(max(ratio["upper"] for _, ratio in rows), 2.0)
    height = ROW * len(rows)
    x = percent_axis(max(low, 0.01) / 1.1, min(high, 1000.0) * 1.1, math.log)
    plot = Plot(
        "Ratios of failure rates; the table has the numbers", x, Axis(0.0, float(len(rows)), 0.0, height), height
    )
    plot.frame(ratio_ticks(x.low, x.high), [], "ratio of failure rates", "")
    plot.upright(1.0, 0.0, float(len(rows)), "the same rate", "one")
    for row, (one, ratio) in enumerate(rows):
        name = _words(one["name"])
        if ratio["label"] not in (None, "", one["name"]):
            name = f"{name}: {ratio['label']}"
        said = f"{name}: {plain(ratio['estimate'])} ({plain(ratio['lower'])} to {plain(ratio['upper'])})"
        bad = " bad" if one["flagged"] else ""
        plot.words((x.low, row), name, "row", 17.0)
        plot.level(row + 0.66, ratio["lower"], ratio["upper"], said, f"range{bad}")
        plot.dot((ratio["estimate"], row + 0.66), said, f"dot{bad}", 5.0)
    return plot.svg()


def forecast_plot(fan: Sequence[tuple[int, ReplacementForecast]]) -> Markup | None:
    """Return the replacements to come as a fan: the middle of the draws, and what most of them lie between."""
    ranges = [(months, one.total.replacements) for months, one in fan if one.total.replacements is not None]
    if not ranges:
        return None
    most = max(max(one.upper for _, one in ranges) * 1.1, 1.0)
    x, y = percent_axis(0.0, float(ranges[-1][0])), upright_axis(0.0, most, HEIGHT * 0.7)
    plot = Plot("Replacements to come, all bearings that run; the table has the numbers", x, y, HEIGHT * 0.7)
    plot.frame(number_ticks(0.0, x.high), number_ticks(0.0, most), "months from now", "replacements")
    for name in ("lower", "upper", "median"):
        line = [(0.0, 0.0), *((float(at), float(getattr(one, name))) for at, one in ranges)]
        plot.line(line, "series" if name == "median" else "limit")
    for at, one in ranges:
        plot.dot((float(at), float(one.median)), f"{at} months: {one.median} ({one.lower} to {one.upper})", "dot", 5.0)
    return plot.svg()


def _weibull(share: float) -> float:
    return math.log(-math.log(1.0 - share))


def _thinned(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return points of which no more are drawn than can be told apart; first and last stay."""
    step = max(1, math.ceil(len(points) / MOST_POINTS))
    return [*points[:-1:step], points[-1]] if points else []


def _words(name: str) -> str:
    return name.replace("_", " ")
