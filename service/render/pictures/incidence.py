"""The shares that fail by each mode of damage, all modes at work, stacked one on the other."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from service.reliability.group_life import GroupLife
from service.reliability.lives import Floats
from service.render.pictures.drawing import Drawing
from service.render.pictures.plots import LEFT, RIGHT, Axis, axes, linear_ticks, shown, steps
from service.render.pictures.svg import svg

HEIGHT: Final = 230.0
AGE_LABEL: Final = "age, hours of operation"


def incidence_picture(modes: Sequence[GroupLife]) -> str:
    """Return the cumulative incidences as SVG: each line is the share failed by its mode and those below it.

    Parameters
    ----------
    modes : sequence of GroupLife
        One item for each mode of damage, of the same stays.
    """
    drawing = Drawing("Shares that fail by each mode of damage, all modes at work")
    drawing.paragraph(drawing.title, size=14, bold=True)
    last = max(item.largest_age_h for item in modes)
    ages = np.unique(np.concatenate([_columns(item)[0] for item in modes]))
    if len(ages) == 0:
        drawing.paragraph("Nothing has failed, so there is nothing to draw.")
        return svg(drawing, name="incidence")
    stacked = np.cumsum([_at(item, ages) for item in modes], axis=0)
    top = drawing.height + 26
    high = min(1.0, max(0.05, float(stacked[-1].max()) * 1.1))
    x, y = Axis(0.0, last, LEFT, RIGHT), Axis(0.0, high, top + HEIGHT, top)
    ticks = [(one, shown(one)) for one in linear_ticks(0.0, last)]
    shares = [(one, f"{one * 100:g} %") for one in linear_ticks(0.0, high)]
    axes(drawing, x=x, y=y, x_ticks=ticks, y_ticks=shares, x_label=AGE_LABEL, y_label="share failed, stacked")
    for line in stacked:
        points = list(zip(ages.tolist(), line.tolist(), strict=True))
        steps(drawing, x, y, points, start=0.0, end=last, part="stacked")
    drawing.paragraph("Each line is the share failed by its mode and by those below it; from below:", size=11)
    for item in modes:
        drawing.paragraph(_said(item), size=11, part="mode")
    return svg(drawing, name="incidence")


def _columns(item: GroupLife) -> tuple[Floats, Floats]:
    found = item.incidence
    if found is None:
        return np.zeros(0), np.zeros(0)
    rows = slice(*(int(end) for end in np.searchsorted(found.group, [item.number, item.number + 1])))
    return found.time_h[rows], found.incidence[rows]


def _at(item: GroupLife, ages: Floats) -> Floats:
    """Return the share failed by the mode at some ages, [-]."""
    own, share = _columns(item)
    return np.concatenate(([0.0], share))[np.searchsorted(own, ages, side="right")]


def _said(item: GroupLife) -> str:
    found = item.incidence
    assert found is not None and item.mode is not None
    share, lower, upper = found.at(item.number, item.largest_age_h)
    limits = "" if lower is None or upper is None else f" ({lower:.3g} to {upper:.3g} at {found.level:.0%})"
    return f"{item.mode}: {share:.3g}{limits} by {item.largest_age_h:,.0f} h"
