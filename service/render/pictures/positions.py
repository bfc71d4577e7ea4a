"""Pictures of positions: how their events recur, and which of them fail more often than their class explains."""

import math
from typing import Final

from service.reliability.ranking import Ranking
from service.reliability.recurrence import MeanCumulativeNumber
from service.render.pictures.drawing import MARGIN, Circle, Drawing, Line, Words
from service.render.pictures.plots import LEFT, RIGHT, Axis, axes, linear_ticks, log_ticks, shown, steps
from service.render.pictures.svg import svg

HEIGHT: Final = 220.0
MOST_ROWS: Final = 20
ROW: Final = 34.0
LEAST_RATIO: Final = 0.05


def recurrence_picture(found: MeanCumulativeNumber | None, *, group: str, event: str, level: float) -> str:
    """Return the mean cumulative number of events as SVG, in steps with robust limits."""
    what = {"replacement": "replacements", "failure": "failures"}[event]
    drawing = Drawing(f"Mean cumulative number of {what}: {group}")
    drawing.paragraph(drawing.title, size=14, bold=True)
    if found is None:
        drawing.paragraph(f"No {what} on record.")
        return svg(drawing, name="recurrence")
    ages, mean = found.time_h.tolist(), found.mean.tolist()
    drawing.paragraph(f"{mean[-1]:.3g} {what} a position by {ages[-1]:,.0f} h; {int(found.events.sum())} in all.")
    top = drawing.height + 26
    x = Axis(0.0, ages[-1] * 1.05, LEFT, RIGHT)
    y = Axis(0.0, max(max(found.upper.tolist()), mean[-1]) * 1.05, top + HEIGHT, top)
    x_ticks = [(one, shown(one)) for one in linear_ticks(0.0, x.high)]
    y_ticks = [(one, shown(one)) for one in linear_ticks(0.0, y.high)]
    hours = "age of the position, hours since its first fitting on record"
    axes(drawing, x=x, y=y, x_ticks=x_ticks, y_ticks=y_ticks, x_label=hours, y_label=f"{what} a position")
    points = list(zip(ages, mean, strict=True))
    steps(drawing, x, y, points, start=0.0, end=x.high, part="mean")
    if found.robust_variance.max() > 0:
        for name, column in (("lower", found.lower), ("upper", found.upper)):
            line = list(zip(ages, column.tolist(), strict=True))
            steps(drawing, x, y, line, start=0.0, end=x.high, part=name, thin=True)
        drawing.paragraph(f"Thick line: mean. Thin: {level:.0%} limits that allow positions to differ.", size=11)
    else:
        drawing.paragraph("Thick line: number. One position alone shows no spread, so there are no limits.", size=11)
    return svg(drawing, name="recurrence")


def ranking_picture(ranks: Ranking, *, top: int) -> str:
    """Return the ranking as SVG: for each position the ratio of failures seen to expected, crude and shrunk."""
    drawing = Drawing("Failures of positions, seen over expected from their class")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(ranks.detail)
    rows = [int(number) for number in ranks.order[: min(top, MOST_ROWS)]]
    left_out = len(ranks.labels) - len(rows)
    if left_out > 0:
        drawing.paragraph(f"The first {len(rows)} of {len(ranks.labels)} positions.", size=11)
    highest = max([float(ranks.ratio_upper[n]) for n in rows] + [2.0])
    x = Axis(LEAST_RATIO, highest * 1.1, MARGIN + 6, RIGHT, math.log)
    head = drawing.height + 26
    y = Axis(0.0, float(len(rows)), head, head + ROW * len(rows))
    ticks = [(one, shown(one)) for one in log_ticks(x.low, x.high)]
    axes(drawing, x=x, y=y, x_ticks=ticks, y_ticks=[], x_label="failures seen / expected", y_label="position")
    drawing.add(Line((x.at(1.0), y.begin), (x.at(1.0), y.end), 1.5, part="class"))
    for row, number in enumerate(rows):
        _ranked_row(drawing, x, y.at(row), ranks, number)
    drawing.paragraph(
        f"Upright line: what the class explains. Open circle and thin line: crude ratio with exact {ranks.level:.0%} "
        "limits. Dot and thick line: ratio drawn towards the class as far as the record is thin.",
        size=11,
    )
    return svg(drawing, name="ranking")


def _ranked_row(drawing: Drawing, x: Axis, top: float, ranks: Ranking, number: int) -> None:
    seen, due = float(ranks.observed[number]), float(ranks.expected[number])
    said = f"{ranks.labels[number]}: {seen:g} seen, {due:.3g} expected"
    drawing.described.append(f"{said}, shrunk ratio {float(ranks.shrunk[number]):.3g}")
    drawing.add(Words(x.begin + 4, top + 13, said, 11, part="row"))
    crude, shrunk = top + 20, top + 27
    ends = float(ranks.ratio_lower[number]), float(ranks.ratio_upper[number])
    drawing.add(Line((x.at(ends[0]), crude), (x.at(ends[1]), crude), 0.8, part="crude"))
    drawing.add(Circle((x.at(float(ranks.ratio[number])), crude), 3.0, stroke=1.0, part="crude"))
    ends = float(ranks.shrunk_lower[number]), float(ranks.shrunk_upper[number])
    drawing.add(Line((x.at(ends[0]), shrunk), (x.at(ends[1]), shrunk), 2.2, part="shrunk"))
    drawing.add(Circle((x.at(float(ranks.shrunk[number])), shrunk), 2.5, fill="black", stroke=1.0, part="shrunk"))
