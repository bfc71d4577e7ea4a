"""Pictures of the history read back: what stands where, nothing on another, the same in words."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest

from service.reliability.life_analysis import GroupFacts, Options, life_analysis
from service.reliability.lives import Lives, lives
from service.reliability.ranking import ranking
from service.reliability.recurrence import Watched, mean_cumulative_number
from service.render.pictures.lives import probability_picture, survival_picture
from service.render.pictures.positions import ranking_picture, recurrence_picture
from tests.unit.render.pictures import outside, overlapping, parsed, parts, points, said

# Lieblein & Zelen 1956, 23 ball bearings, 1e6 revolutions, taken for hours
BALL_BEARINGS = (
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
)  # fmt: skip
SETS = {
    "balls": lives(BALL_BEARINGS, [True] * 23),
    "one failure": lives([500.0, 900.0, 1200.0], [True, False, False]),
    "none failed": lives([500.0, 900.0], [False, False]),
    "large": lives(np.linspace(1e5, 9e7, 40), np.arange(40) % 3 > 0),
    "small": lives(np.linspace(0.01, 0.9, 12), np.ones(12)),
}


def pictures(data: Lives, label: str = "22216 K/C3", **options: str) -> tuple[str, str]:
    facts = [GroupFacts(label, int(data.units.sum()), [{"reason": "end_unknown", "detail": "", "count": 2}])]
    found = life_analysis(data, facts, Options(**options))  # type: ignore[arg-type]
    return probability_picture(found, found.items[0]), survival_picture(found, found.items[0])


@pytest.mark.parametrize("name", SETS)
def test_life_pictures_are_well_formed_and_nothing_stands_on_another(name: str) -> None:
    for picture in pictures(SETS[name], "a group <with> a & long name, " * 4):
        root = parsed(picture)
        assert outside(root) == []
        assert overlapping(root) == []
        assert "nan" not in picture and "inf" not in picture


def test_the_failures_of_the_ball_bearings_lie_near_the_fitted_line() -> None:
    """Positions (i - 0.5)/n of Meeker & Escobar 1998, ch. 6; the line has the published shape 2.102."""
    root = parsed(pictures(SETS["balls"])[0])
    dots = [(float(dot.attrib["cx"]), float(dot.attrib["cy"])) for dot in parts(root, "failure")]
    assert len(dots) == len(set(BALL_BEARINGS))
    assert all(a[0] < b[0] and a[1] > b[1] for a, b in pairwise(dots)), "to the right and upwards"
    line = [points(piece) for piece in parts(root, "fit")]
    (x1, y1), (x2, y2) = line[0][0], line[-1][-1]
    per_x, per_y = _scale(dots)
    slope = (y1 - y2) / per_y / ((x2 - x1) / per_x)
    assert slope == pytest.approx(2.102, rel=2e-3)
    assert "23 failed, 0 censored, 2 left out" in said(root)
    limits = re.search(r"Shape 2\.1 \(([\d.]+) to ([\d.]+)\)", said(root))
    assert limits is not None
    published = (1.5041, 2.7915)  # likelihood-ratio limits of the shape
    assert tuple(map(float, limits.groups())) == pytest.approx(published, abs=5.5e-4), "printed with four digits"


def _scale(dots: list[tuple[float, float]]) -> tuple[float, float]:
    """Units of the picture for one unit of ln(age) and of ln(-ln(1 - share)), from first and last dot."""
    heights = [math.log(-math.log1p(-(rank - 0.5) / 23)) for rank in (1, 23)]
    ages = [math.log(BALL_BEARINGS[0]), math.log(BALL_BEARINGS[-1])]
    return (dots[-1][0] - dots[0][0]) / (ages[1] - ages[0]), (dots[0][1] - dots[-1][1]) / (heights[1] - heights[0])


def test_limits_lie_on_both_sides_of_the_line() -> None:
    root = parsed(pictures(SETS["balls"], interval="log_normal")[0])
    at = {part: {round(y, 1): x for piece in parts(root, part) for x, y in points(piece)} for part in
          ("fit", "lower", "upper")}  # fmt: skip
    shared = set.intersection(*(set(one) for one in at.values()))
    assert len(shared) > 4
    assert all(at["lower"][y] < at["fit"][y] < at["upper"][y] for y in shared)


def test_without_a_failure_the_picture_gives_the_bound_and_its_assumption() -> None:
    probability, survival = (said(parsed(picture)) for picture in pictures(SETS["none failed"]))
    assert "No estimate. B10 is at least" in probability and "if the shape is 1.5" in probability
    assert "Nothing has failed, so there is nothing to plot." in probability
    assert "0 failed, 2 censored" in survival


def test_the_survival_ends_where_it_was_last_seen() -> None:
    """All 23 failed: the line ends at zero."""
    root = parsed(pictures(SETS["balls"])[1])
    frame = points(parts(root, "frame")[0])
    steps = [point for piece in parts(root, "survival") for point in points(piece)]
    assert max(y for _, y in steps) == pytest.approx(frame[1][1], abs=0.01)
    assert len(parts(root, "lower")) > 10 and len(parts(root, "upper")) > 10


def test_the_three_systems_are_drawn_with_their_limits_and_one_alone_without() -> None:
    """Meeker & Escobar 1998, ch. 16: 11/6 events a system at 16."""
    systems = [Watched((5.0, 8.0), 12.0), Watched((), 16.0), Watched((1.0, 8.0, 16.0), 20.0)]
    found = mean_cumulative_number(systems)
    root = parsed(recurrence_picture(found, group="pumps", event="failure", level=0.95))
    assert "1.83 failures a position by 16 h; 5 in all." in said(root)
    assert parts(root, "lower") and parts(root, "upper") and outside(root) == [] and overlapping(root) == []
    alone = parsed(recurrence_picture(mean_cumulative_number(systems[:1]), group="one", event="failure", level=0.95))
    assert not parts(alone, "lower") and "there are no limits" in said(alone)


def test_a_ranking_shows_each_position_by_name_with_both_numbers() -> None:
    observed, expected = np.array([9.0, 1.0, 0.0, 2.0]), np.array([2.0, 2.0, 1e-6, 2.5])
    names = ["FAN-1 / drive", "FAN-2 / a very long name of a position that goes on", "FAN-3 / x", "FAN-4 / y"]
    root = parsed(ranking_picture(ranking(names, observed, expected), top=3))
    assert "FAN-1 / drive: 9 seen, 2 expected" in said(root)
    assert "The first 3 of 4 positions." in said(root)
    assert len(parts(root, "row")) == 3 and outside(root) == [] and overlapping(root) == []
