"""Pictures of positions: how their events recur, and which of them fail more often than their class explains."""

import math
from collections.abc import Mapping, Sequence
from typing import Final

from service.reliability.lives import Ints
from service.reliability.place_excess import PlaceExcess
from service.reliability.recurrence import MeanCumulativeNumber
from service.render.pictures.drawing import MARGIN, Circle, Drawing, Line, Words, text_width
from service.render.pictures.plots import LEFT, RIGHT, Axis, axes, linear_ticks, log_ticks, shown, steps
from service.render.pictures.svg import svg

HEIGHT: Final = 220.0
MOST_ROWS: Final = 20
ROW: Final = 34.0
LEAST_RATIO: Final = 0.05
PLURALS: Final = {"position": "positions", "asset": "assets"}


def recurrence_picture(
    found: MeanCumulativeNumber | None, *, group: str, event: str, events: int, level: float, trend: str
) -> str:
    """Return the mean cumulative number of events as SVG, in steps with robust limits, and the verdict on the order."""
    what = {"replacement": "replacements", "failure": "failures"}[event]
    drawing = Drawing(f"Mean cumulative number of {what}: {group}")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(trend)
    if found is None:
        drawing.paragraph(f"No {what} on record.")
        return svg(drawing, name="recurrence")
    ages, mean = found.time_h.tolist(), found.mean.tolist()
    drawing.paragraph(f"{mean[-1]:.3g} {what} a position by {ages[-1]:,.0f} h; {events} in all.")
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


def ranking_picture(found: PlaceExcess, *, labels: Sequence[str], rows: Ints, what: str, level: float) -> str:
    """Return the ranking as SVG: for each place the ratio of failures seen to expected, crude and shrunk.

    Parameters
    ----------
    labels : sequence of str, shape (q,)
        What the places are called.
    rows : ndarray of int
        The places that are shown, in their order; the first ``MOST_ROWS`` are drawn.
    what : str
        position or asset.
    """
    drawing = Drawing(f"Failures of {PLURALS[what]}, seen over expected from their class")
    drawing.paragraph(drawing.title, size=14, bold=True)
    drawing.paragraph(str(found.verdict(labels).detail))
    drawing.paragraph(str(found.spread_verdict.detail), size=11)
    numbers = [int(number) for number in rows[:MOST_ROWS] if found.excess.mean[number] > 0]
    if len(numbers) < len(labels):
        drawing.paragraph(
            f"{len(numbers)} of {len(labels)} {PLURALS[what]} are shown, the surest excess first.", size=11
        )
    if not numbers:
        return svg(drawing, name="ranking")
    shrunk = found.shrunk(level)
    ratios = {number: found.excess.ratio(number, level) for number in numbers}
    highest = max([one["upper"] for one in ratios.values() if one is not None] + [2.0])
    x = Axis(LEAST_RATIO, highest * 1.1, MARGIN + 6, RIGHT, math.log)
    head = drawing.height + 26
    y = Axis(0.0, float(len(numbers)), head, head + ROW * len(numbers))
    ticks = [(one, shown(one)) for one in log_ticks(x.low, x.high)]
    axes(drawing, x=x, y=y, x_ticks=ticks, y_ticks=[], x_label="failures seen / expected", y_label=what)
    drawing.add(Line((x.at(1.0), y.begin), (x.at(1.0), y.end), 1.5, part="class"))
    for row, number in enumerate(numbers):
        of_row = {name: float(column[number]) for name, column in shrunk.items()}
        _ranked_row(drawing, x, y.at(row), found, number, labels[number], ratios[number], of_row)
    drawing.paragraph(
        f"Upright line: what the class explains. Open circle and thin line: crude ratio with exact {level:.0%} "
        "limits. Dot and thick line: ratio drawn towards the class as far as the record is thin. Only rows that say "
        "flagged are claimed to fail more than their class.",
        size=11,
    )
    return svg(drawing, name="ranking")


def _ranked_row(
    drawing: Drawing,
    x: Axis,
    top: float,
    found: PlaceExcess,
    number: int,
    label: str,
    ratio: Mapping[str, float] | None,
    drawn_in: Mapping[str, float],
) -> None:
    excess = found.excess
    is_flagged = bool(excess.flagged[number])
    mark = "flagged: " if is_flagged else ""
    numbers = f": {float(excess.observed[number]):g} seen, {float(excess.mean[number]):.3g} expected"
    said, short = f"{mark}{label}{numbers}", label
    room = x.end - x.begin - 8
    while len(short) > 4 and text_width(f"{mark}{short}{numbers}", 11, bold=is_flagged) > room:
        short = f"{short.rstrip('.')[:-1]}..."
    drawing.described.append(f"{said}, shrunk ratio {drawn_in['estimate']:.3g}" if drawn_in else said)
    drawing.add(Words(x.begin + 4, top + 13, f"{mark}{short}{numbers}", 11, bold=is_flagged, part="row"))
    crude, shrunk = top + 20, top + 27
    if ratio is not None:
        drawing.add(Line((x.at(ratio["lower"]), crude), (x.at(ratio["upper"]), crude), 0.8, part="crude"))
        drawing.add(Circle((x.at(ratio["estimate"]), crude), 3.0, stroke=1.0, part="crude"))
    if drawn_in:
        drawing.add(Line((x.at(drawn_in["lower"]), shrunk), (x.at(drawn_in["upper"]), shrunk), 2.2, part="shrunk"))
        drawing.add(Circle((x.at(drawn_in["estimate"]), shrunk), 2.5, fill="black", stroke=1.0, part="shrunk"))
