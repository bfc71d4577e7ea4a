"""Very many stays at once, against the plain functions that take one stay at a time."""

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service.history.ages import Meter, MeterReading, age, meter
from service.history.observations import observations, status
from service.history.stays import Stay
from service.reliability.observed import Observed, common_numbers, counted, kinds, observed
from service.reliability.stay_ages import meter_columns, stay_ages
from service.reliability.stay_columns import Groups, StayColumns, groups, stay_columns
from service.reliability.window_bins import WINDOW_BINS, window_numbers
from service.words import BASES, COUNTS

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


def grouped(columns: StayColumns, *names: str) -> Groups:
    return groups(columns.rows, [(columns.words[name], columns.vocabularies[name]) for name in names])


def seen(columns: StayColumns, by: Groups) -> Observed:
    kind, known = kinds(columns)
    counts = counted(columns, [status(*one) for one in known], kind, ages_of(columns), None)
    return observed(columns, counts, ages_of(columns), by)


def test_ages_are_those_of_one_stay_at_a_time() -> None:
    given = stays()
    found = ages_of(columns_of(given))
    one_by_one = [age_of(stay) for stay in given]
    assert [BASES[n] for n in found.basis] == [one.basis for one in one_by_one]
    assert {one.basis for one in one_by_one} == set(BASES)
    assert found.age_h == pytest.approx([one.age_h for one in one_by_one], abs=1e-6)
    assert found.entry_h == pytest.approx([one.entry_h for one in one_by_one], abs=1e-6)


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("damage", [None, "wear"])
def test_lives_and_what_is_left_out_are_those_of_one_stay_at_a_time(count: Any, damage: str | None) -> None:
    given = stays()
    columns = columns_of(given)
    kind, known = kinds(columns)
    by = grouped(columns, "position")
    counts = counted(columns, [status(*one, count, damage) for one in known], kind, ages_of(columns), None)
    found = observed(columns, counts, ages_of(columns), by)
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
    by = grouped(columns, "position", "designation")
    assert [by.words[n] for n in by.number] == [(s.position, s.designation) for s in stays(60)]
    assert [by.labels[n] for n in by.number] == [f"{s.position} / {s.designation}" for s in stays(60)]


def test_a_rated_life_counts_where_all_lives_of_a_group_share_it() -> None:
    columns = columns_of(stays(60))
    by = grouped(columns, "position")
    found = seen(columns, by)
    rated = {"tail": 50_000.0, "drive": None, "other": 50_000.0}
    shared = common_numbers(found, columns, by, [rated[name] for name in columns.vocabularies["position"]])
    assert [None if np.isnan(one) else one for one in shared] == [rated[name] for name in by.labels]
    whole = grouped(columns)
    found = seen(columns, whole)
    assert np.isnan(common_numbers(found, columns, whole, [1.0, 2.0, 1.0])).all()


def window_bin(residual: int, low: int, high: int) -> str:
    """Where one clearance lies, said slowly: both limits are inside, a window without width has its middle only."""
    if residual < low or residual > high:
        return "below_window" if residual < low else "above_window"
    thirds = ["lower_third", "middle_third", "upper_third"]
    return thirds[min(3 * (residual - low) // (high - low), 2)] if high > low else "middle_third"


def test_the_place_in_the_window_is_that_of_one_stay_at_a_time() -> None:
    given = stays()
    for stay, number in zip(given, window_numbers(columns_of(given)), strict=True):
        window = stay.residual_clearance_nm, stay.window_min_nm, stay.window_max_nm
        if None in window:
            assert number == len(WINDOW_BINS)
        else:
            assert WINDOW_BINS[number] == window_bin(*window)  # type: ignore[arg-type]


def test_no_stays_are_no_groups() -> None:
    columns = columns_of([])
    by = grouped(columns, "position")
    found = seen(columns, by)
    assert (columns.rows, kinds(columns)[1], by.labels, found.data) == (0, [], [], None)


def test_a_failure_without_recorded_damage_is_two_rows_that_add_up_to_one() -> None:
    columns = columns_of(stays())
    kind, known = kinds(columns)
    by, ages = grouped(columns, "position"), ages_of(columns)
    of_kind = [status(*one, "by_reason", "wear") for one in known]
    left, shared = (counted(columns, of_kind, kind, ages, of_class) for of_class in (None, np.zeros(400, dtype=int)))
    assert shared.unrecorded.any() and not np.any(shared.unrecorded & ~left.left_out("damage_not_recorded"))
    asked, without = observed(columns, shared, ages, by), observed(columns, left, ages, by)
    assert asked.unrecorded == int(shared.unrecorded.sum())
    assert asked.data is not None and without.data is not None
    assert asked.data.count.sum() == pytest.approx(len(without.data.time_h) + asked.unrecorded)
    assert asked.data.failures.sum() == pytest.approx(
        without.data.failures.sum() + shared.share[shared.unrecorded].sum()
    )
    assert np.all((shared.share[shared.unrecorded] >= 0) & (shared.share[shared.unrecorded] <= 1))


def test_columns_do_not_hang_on_the_order_in_which_rows_come() -> None:
    rows = [(float(n % 5), float(n), f"p{n % 4}", None if n % 3 else f"w{n % 7}", f"{n:036d}") for n in range(40)]
    shuffled = random.Random(3).sample(rows, len(rows))
    named: Any = {"numbers": ("a", "b"), "words": ("position", "word"), "ids": True, "order_by": ("position", "b")}
    one, other = (stay_columns([some[:17], some[17:]], **named) for some in (rows, shuffled))
    assert one.vocabularies == other.vocabularies
    assert one.vocabularies["position"] == ["p0", "p1", "p2", "p3"]
    assert other.vocabularies["word"][0] is None
    for name in ("a", "b"):
        assert one.numbers[name].tolist() == other.numbers[name].tolist()
    assert one.words["word"].tolist() == other.words["word"].tolist()
    assert one.ids.tolist() == other.ids.tolist()
    back = sorted(zip(one.numbers["b"].tolist(), [one.vocabularies["word"][n] for n in one.words["word"]], strict=True))
    assert back == [(row[1], row[3]) for row in rows]
