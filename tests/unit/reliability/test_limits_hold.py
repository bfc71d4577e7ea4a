"""Limits against invented groups of lives, in short; the whole table: python -m tests.verdicts."""

from tests.verdicts import limits


def test_limits_lie_beyond_the_truth_no_more_often_than_they_say():
    # 3.5 errors of a share; a median of ratios of 60 plants is known to about 0.05
    for row in limits.claims(plants=60, seed=1):
        if row["claim"].startswith("median"):
            slack = 0.05
        else:
            slack = 3.5 * max((row["most"] * (1 - row["most"]) / row["plants"]) ** 0.5, 0.5 / row["plants"])
        assert row["least"] - slack <= row["share"] <= row["most"] + slack, row
