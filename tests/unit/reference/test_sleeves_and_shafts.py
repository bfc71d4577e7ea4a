"""Locknut threads, adapter sleeves, and the limits of the shaft below them."""

import pytest

from service.reference import tables
from service.reference.shafts import inch_limits, limits_under_sleeve, metric_limits
from service.reference.sleeves import adapter_sleeve, sleeve_thread


@pytest.mark.parametrize(
    ("bore_mm", "thread", "pitch_mm"),  # ISO 2982-2, keyed a second time
    [(20, "M20x1", 1), (50, "M50x1.5", 1.5), (80, "M80x2", 2), (160, "M160x3", 3), (220, "Tr220x4", 4)],
)
def test_metric_sleeve_threads(bore_mm, thread, pitch_mm):
    found = sleeve_thread(bore_mm=bore_mm, system="metric")
    assert (found.thread, found.pitch_mm) == (thread, pitch_mm)


@pytest.mark.parametrize(
    ("bore_mm", "per_inch"),  # the trade's inch series, keyed a second time: 32, 18, 12, 8 threads per inch
    [(25, 32), (50, 18), (80, 12), (160, 8)],
)
def test_inch_sleeve_threads_have_their_exact_pitch(bore_mm, per_inch):
    assert sleeve_thread(bore_mm=bore_mm, system="inch").pitch_mm == 25.4 / per_inch


def test_the_nuts_of_the_sleeve_table_are_those_of_the_thread_table():
    """Two tables keyed apart: thread of each sleeve's nut."""
    tried = 0
    for row in tables.rows("adapter_sleeves"):
        metric = sleeve_thread(bore_mm=float(row["bore_mm"]), system="metric")
        inch = sleeve_thread(bore_mm=float(row["bore_mm"]), system="inch")
        assert metric.thread == row["metric_nut_thread"]
        assert row["inch_nut_thread"] in inch.thread
        tried += 1
    assert tried == 33 == len(tables.rows("adapter_sleeves"))


def test_an_unknown_bore_has_no_thread():
    assert sleeve_thread(bore_mm=81, system="metric") is None
    assert adapter_sleeve(81) is None


def test_a_sleeve_leaves_a_thinner_shaft():
    assert adapter_sleeve(80).shaft_diameter_mm == 70  # ISO 2982-1
    for row in tables.rows("adapter_sleeves"):
        sleeve = adapter_sleeve(float(row["bore_mm"]))
        assert 0 < sleeve.shaft_diameter_mm < sleeve.bore_mm


def test_shaft_under_a_sleeve_by_iso_286():
    """ISO 286-2: h9 over 50 up to 80 mm is 0/-74 um; IT5 is 13 um."""
    limits = limits_under_sleeve(diameter_mm=70, system="metric")
    assert (limits.upper_nm, limits.lower_nm, limits.form_nm, limits.form_other_nm) == (0, -74_000, 6500, 13_000)


def test_h9_is_it9_in_every_row():
    """ISO 286-1: the tolerance h9 is IT9 below the nominal size."""
    for row in tables.rows("shaft_tolerances_iso286"):
        for grade in "789":
            assert -int(row[f"h{grade}_lower_um"]) == int(row[f"IT{grade}_um"])
    assert len(metric_limits().bands) == 9


def test_inch_shafts():
    """Common practice, no source: 0/-0.004 in over 2 up to 4 in."""
    assert limits_under_sleeve(diameter_mm=2.6875 * 25.4, system="inch").lower_nm == -101_600
    assert limits_under_sleeve(diameter_mm=16 * 25.4, system="inch") is None
    assert len(inch_limits().bands) == 6
