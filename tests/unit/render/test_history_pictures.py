"""Pictures of the history read back: what stands where, nothing on another, the same in words."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest

from service.reliability.cumulative_incidence import cumulative_incidence
from service.reliability.life_analysis import GroupFacts, LifePart, Options, life_analyses, life_analysis
from service.reliability.lives import Lives, lives
from service.reliability.place_excess import place_excess
from service.reliability.recurrence import Watched, mean_cumulative_number
from service.reliability.replacement_forecast import CountRange, GroupForecast, ReplacementForecast
from service.reliability.stay_table import stay_table
from service.render.pictures.forecast import forecast_picture
from service.render.pictures.incidence import incidence_picture
from service.render.pictures.lives import probability_picture, survival_picture
from service.render.pictures.positions import ranking_picture, recurrence_picture
from tests.unit.render.pictures import outside, overlapping, parsed, parts, points, said, texts

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
    said_of = {"event": "failure", "level": 0.95, "trend": "No trend seen (p = 0.6; 5 lives in 2 positions)."}
    root = parsed(recurrence_picture(found, group="pumps", events=5, **said_of))
    assert "No trend seen" in said(root)
    assert "1.83 failures a position by 16 h; 5 in all." in said(root)
    assert parts(root, "lower") and parts(root, "upper") and outside(root) == [] and overlapping(root) == []
    alone = parsed(recurrence_picture(mean_cumulative_number(systems[:1]), group="one", events=2, **said_of))
    assert not parts(alone, "lower") and "there are no limits" in said(alone)


def test_a_ranking_marks_in_words_what_is_flagged_and_nothing_else() -> None:
    """Twenty positions of which the first fails ten times as often."""
    rng = np.random.default_rng(2)
    rows = [(age, 1.0, 0, n) for n, age in enumerate(rng.weibull(2, 60) * 0.1)]
    rows += [(age, 1.0, place, n) for place in range(1, 20) for n, age in enumerate(rng.weibull(2, 6))]
    age, failed, place, begin = (np.array(column) for column in zip(*rows, strict=True))
    table = stay_table(age, failed, position=place.astype(int), begin_h=begin, end_h=begin + age)
    found = place_excess(table, table.position)
    names = [f"FAN-{n} / a very long name of a position that goes on" for n in found.place]
    picture = ranking_picture(found, labels=names, rows=found.excess.order()[:3], what="position", level=0.95)
    root = parsed(picture)
    words = [piece.text for piece in texts(root) if piece.part == "row"]
    assert [one.startswith("flagged: ") for one in words] == [True, False, False]
    assert words[0].startswith("flagged: FAN-0 / ") and "More failures than the class explains: FAN-0" in said(root)
    assert "3 of 20 positions are shown" in said(root)
    assert len(parts(root, "row")) == 3 and outside(root) == [] and overlapping(root) == []


def test_where_the_fit_misses_its_bins_are_drawn_and_the_survival_leads() -> None:
    """A tenth dies young; the bars hold all failures, seen and expected."""
    rng = np.random.default_rng(4)
    life = np.where(rng.random(600) < 0.1, rng.uniform(10, 400, 600), rng.weibull(3, 600) * 20_000)
    probability, survival = (parsed(one) for one in pictures(lives(np.minimum(life, 25_000), life <= 25_000)))
    assert said(probability).index("read from the survival curve") < said(probability).index("Not supported: shape")
    bars = parts(probability, "bin-observed"), parts(probability, "bin-expected")
    assert len(bars[0]) == len(bars[1]) == 8
    heights = [sum(float(bar.attrib["height"]) for bar in side) for side in bars]
    assert heights[0] == pytest.approx(heights[1], rel=0.01), "O - E sums to zero"
    assert outside(probability) == [] and overlapping(probability) == []
    assert len(parts(survival, "quantile")) == 4, "dot and dashes of B10 and of the median"
    assert not parts(parsed(pictures(SETS["balls"])[0]), "bin-observed")


def test_shares_by_mode_of_damage_are_stacked_up_to_the_share_failed_by_any() -> None:
    """Without censoring the shares end where everything has failed: 1."""
    age = np.arange(1.0, 41)
    first = np.arange(40) % 4 == 0
    whole = lives(age, np.ones(40, dtype=bool))
    facts = [[GroupFacts(name, 40)] for name in ("corrosion", "wear")]
    modes = life_analyses(
        [
            LifePart(lives(age, of_mode), fact, Options(mode=fact[0].label), cumulative_incidence(whole, of_mode))
            for of_mode, fact in zip((first, ~first), facts, strict=True)
        ]
    )
    root = parsed(incidence_picture([one.items[0] for one in modes]))
    frame = points(parts(root, "frame")[0])
    top = min(y for piece in parts(root, "stacked") for _, y in points(piece))
    assert top == pytest.approx(frame[0][1], abs=0.01), "all failed: the upper line ends at the top of the frame"
    assert "corrosion: 0.25" in said(root) and "wear: 0.75" in said(root), "10 and 30 of 40"
    assert outside(root) == [] and overlapping(root) == []


def test_a_forecast_is_a_fan_that_opens() -> None:
    def horizon(median: int, lower: int, upper: int) -> ReplacementForecast:
        count = CountRange(median, lower, upper)
        total = GroupForecast(-1, 9, 0, count, count)
        return ReplacementForecast((), total, "failures", 0.9, 1000, 1.0)

    fan = [(3, horizon(4, 1, 8)), (6, horizon(8, 3, 14)), (12, horizon(17, 9, 27))]
    root = parsed(forecast_picture(fan, said="17 are expected.", covers="failures", level=0.9))
    assert len(parts(root, "middle")) == len(parts(root, "range")) == 3
    lengths = [abs(points(piece)[0][1] - points(piece)[1][1]) for piece in parts(root, "range")]
    assert lengths == sorted(lengths) and "12 months: 17 (9 to 27)" in root.find("{*}desc").text  # type: ignore[union-attr,operator]
    assert outside(root) == [] and overlapping(root) == []
