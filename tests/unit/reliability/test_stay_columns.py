"""Very many stays at once, against the plain functions that take one stay at a time."""

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.history.ages import Meter, MeterReading, age, meter
from service.history.observations import observations, status
from service.history.stays import Stay
from service.reliability.class_expectation import class_expected, sums_by
from service.reliability.lives import lives
from service.reliability.mounting_quality import WINDOW_BINS, window_bin
from service.reliability.observed import common_numbers, kinds, observed
from service.reliability.stay_ages import meter_columns, stay_ages
from service.reliability.stay_columns import StayColumns, groups, stay_columns
from service.reliability.window_bins import window_numbers
from service.words import BASES

NOW = datetime(2026, 1, 1, tzinfo=UTC)
NUMBERS = (
    "begin_h",
    "end_h",
    "observed_h",
    "operating_h",
    "carried_h",
    "residual_nm",
    "window_min_nm",
    "window_max_nm",
)
WORDS = ("position", "designation", "end_type", "inspected", "damage")
POSITIONS = ("tail", "drive", "other")
DUTY = {"tail": 1.0, "drive": 0.5, "other": 0.9}
ENDS = ("running", "failed", "removed_condition", "removed_preventive", "removed_other", "lost_to_follow_up", "unknown")


def hours(moment: datetime | None) -> float | None:
    return None if moment is None else moment.timestamp() / 3600


def stays(number: int = 400) -> list[Stay]:
    """Stays of every kind; they may overlap, which is no matter here."""
    chance = random.Random(5)
    found = []
    for _ in range(number):
        installed = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(hours=chance.randrange(40_000))
        end_type = chance.choice(ENDS)
        removed = None if end_type == "running" else installed + timedelta(hours=chance.randrange(1, 20_000))
        late = installed + timedelta(hours=chance.randrange(-500, 25_000))
        nm = [chance.choice((None, 40_000, 56_000, 63_500, 72_000, 80_000, 90_000)) for _ in range(3)]
        found.append(
            Stay(
                position=chance.choice(POSITIONS),
                designation=chance.choice(("22216 K/C3", "1310 K")),
                installed_at=installed,
                removed_at=removed,
                as_of=installed + timedelta(hours=300) if removed is None and chance.random() < 0.3 else None,
                observed_from=late if chance.random() < 0.3 else None,
                operating_hours=float(chance.randrange(20_000)) if chance.random() < 0.3 else None,
                age_at_install_h=float(chance.randrange(1_000)) if chance.random() < 0.2 else None,
                end_type=end_type,
                inspected=chance.choice((None, True, False)),
                damage=chance.choice((None, "wear.abrasive", "undetermined", "corrosion|wear")),
                residual_clearance_nm=nm[0],
                window_min_nm=nm[1],
                window_max_nm=nm[2],
            )
        )
    return found


def columns_of(given: list[Stay], batch: int = 64) -> StayColumns:
    rows = [
        (
            hours(s.installed_at), hours(s.removed_at or s.as_of), hours(s.observed_from), s.operating_hours,
            s.age_at_install_h, s.residual_clearance_nm, s.window_min_nm, s.window_max_nm, s.position, s.designation,
            s.end_type, None if s.inspected is None else int(s.inspected), s.damage,
        )
        for s in given
    ]  # fmt: skip
    batches = [rows[start : start + batch] for start in range(0, len(rows), batch)]
    return stay_columns(batches, numbers=NUMBERS, words=WORDS)


def drive_meter() -> Meter:
    readings = ((2020, 40_000.0, None), (2022, 50_000.0, 10.0), (2024, 12_000.0, None))
    return meter([MeterReading(datetime(y, 3, 1, tzinfo=UTC), value, restart) for y, value, restart in readings])


def ages_of(columns: StayColumns) -> Any:
    of_drive = drive_meter()
    vocabulary = columns.vocabularies["position"]
    return stay_ages(
        columns,
        now_h=NOW.timestamp() / 3600,
        duty=[DUTY[name] for name in vocabulary],
        meter=[0 if name == "drive" else -1 for name in vocabulary],
        meters=[meter_columns([at.timestamp() / 3600 for at in of_drive.times], of_drive.total_h)],
    )


def age_of(stay: Stay) -> Any:
    of_asset = drive_meter() if stay.position == "drive" else None
    return age(stay, now=NOW, of_asset=of_asset, duty=DUTY[stay.position])


def test_ages_are_those_of_one_stay_at_a_time() -> None:
    given = stays()
    found = ages_of(columns_of(given))
    one_by_one = [age_of(stay) for stay in given]
    assert [BASES[n] for n in found.basis] == [one.basis for one in one_by_one]
    assert {one.basis for one in one_by_one} == set(BASES)
    assert found.age_h == pytest.approx([one.age_h for one in one_by_one], abs=1e-6)
    assert found.entry_h == pytest.approx([one.entry_h for one in one_by_one], abs=1e-6)


@pytest.mark.parametrize("count", ["excluded", "failed", "censored"])
@pytest.mark.parametrize("damage", [None, "wear"])
def test_lives_and_what_is_left_out_are_those_of_one_stay_at_a_time(count: Any, damage: str | None) -> None:
    given = stays()
    columns = columns_of(given)
    kind, known = kinds(columns)
    by = groups(columns, [("position", columns.vocabularies["position"])])
    found = observed(columns, [status(*one, count, damage) for one in known], kind, ages_of(columns), by)
    oracle = observations(((s.position, s, age_of(s)) for s in given), count=count, damage_filter=damage)
    assert by.labels == sorted(POSITIONS)
    for n, label in enumerate(by.labels):
        mine = {name: int(of_reason[n]) for name, of_reason in found.excluded.items() if of_reason[n]}
        assert mine == dict(oracle.excluded.get(label, {}))
        assert int(found.stays[n]) == oracle.stays[label]
        assert float(found.condition_share[n]) == oracle.condition_share(label)
        assert int(found.designations[n]) == len(oracle.designations[label])
        data = found.data.of_group(n)  # type: ignore[union-attr]
        rows = [m for m, one in enumerate(oracle.label) if one == label]
        assert data.time_h == pytest.approx([oracle.time_h[m] for m in rows], abs=1e-6)
        assert data.failed.tolist() == [oracle.failed[m] for m in rows]
    assert found.bases == {name: oracle.bases[name] for name in BASES}
    assert found.late == sum(entry > 0 for entry in oracle.entry_h)
    assert [given[row].position for row in found.row] == sorted(oracle.label)


def test_groups_by_several_words_are_called_by_all_of_them() -> None:
    columns = columns_of(stays(60))
    keys = [(name, columns.vocabularies[name]) for name in ("position", "designation")]
    by = groups(columns, keys)
    assert [by.labels[n] for n in by.number] == [f"{s.position} / {s.designation}" for s in stays(60)]


def test_a_rated_life_counts_where_all_lives_of_a_group_share_it() -> None:
    columns = columns_of(stays(60))
    kind, known = kinds(columns)
    by = groups(columns, [("position", columns.vocabularies["position"])])
    found = observed(columns, [status(*one) for one in known], kind, ages_of(columns), by)
    rated = {"tail": 50_000.0, "drive": None, "other": 50_000.0}
    shared = common_numbers(found, columns, by, [rated[name] for name in columns.vocabularies["position"]])
    assert [None if np.isnan(one) else one for one in shared] == [rated[name] for name in by.labels]
    whole = groups(columns, [])
    found = observed(columns, [status(*one) for one in known], kind, ages_of(columns), whole)
    assert np.isnan(common_numbers(found, columns, whole, [1.0, 2.0, 1.0])).all()


def test_the_place_in_the_window_is_that_of_one_stay_at_a_time() -> None:
    given = stays()
    for stay, number in zip(given, window_numbers(columns_of(given)), strict=True):
        window = stay.residual_clearance_nm, stay.window_min_nm, stay.window_max_nm
        if None in window:
            assert number == len(WINDOW_BINS)
        else:
            names = ("residual_clearance_nm", "window_min_nm", "window_max_nm")
            assert number == window_bin(**dict(zip(names, window, strict=True)))  # type: ignore[arg-type]


def test_no_stays_are_no_groups() -> None:
    columns = columns_of([])
    kind, known = kinds(columns)
    by = groups(columns, [("position", [])])
    found = observed(columns, [], kind, ages_of(columns), by)
    assert (columns.rows, known, by.labels, found.data) == (0, [], [], None)


def test_a_class_expects_as_many_failures_as_it_had() -> None:
    """The score of the scale of a Weibull fit is zero where seen equals expected; so is the empirical hazard made."""
    chance = np.random.default_rng(3)
    time_h = chance.weibull(1.7, 300) * 9_000 + 1
    failed = chance.random(300) < 0.6
    failed[200:] = False
    failed[200:203] = True
    data = lives(time_h, failed, group=np.repeat([0, 1], [200, 100]))
    expected, fitted = class_expected(data)
    assert fitted == 1
    assert data.sums(expected) == pytest.approx(data.failures, rel=1e-9)
    places, (seen, due) = sums_by(np.arange(300) % 7, data.failed, expected)
    assert places == list(range(7))
    assert (sum(seen), sum(due)) == pytest.approx((float(failed.sum()), float(expected.sum())))
