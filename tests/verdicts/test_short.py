"""The short form: few plants, the null and what is planted. The long form is ``python -m tests.verdicts``."""

from __future__ import annotations

import pytest
from scipy.special import bdtr, bdtrc

from tests.verdicts.plants import Setting, plant
from tests.verdicts.power import CASES
from tests.verdicts.questions import QUESTIONS
from tests.verdicts.shares import ALLOWED, SMALLEST_CHANCE

PLANTS = 8
SETTINGS = (
    Setting(1, 50, 3),
    Setting(2, 50, 3, 0.5, "plan_halfway"),
    Setting(3, 300, 3, 0.5),
    Setting(2, 300, 1, 0.0, "late_entry"),
)


@pytest.fixture(scope="module")
def null_plants():
    return {setting: [plant(setting, 1 + n) for n in range(PLANTS)] for setting in SETTINGS}


@pytest.mark.parametrize("name", QUESTIONS)
def test_nothing_is_claimed_more_often_than_allowed(name, null_plants):
    # pooled over the settings the question holds in; exact binomial against 7 %, as in the long form
    asked = [one for setting in SETTINGS if QUESTIONS[name].holds_in(setting) for one in null_plants[setting]]
    claims = sum(QUESTIONS[name].claim(one) for one in asked)
    assert len(asked) >= PLANTS
    assert claims == 0 or bdtrc(claims - 1, len(asked), ALLOWED) >= SMALLEST_CHANCE


# what the table promises with a probability near 1 must be seen on nearly all of a few plants
SURE = [case for case in CASES if case.promised is not None and case.promised >= 0.97 and case.setting.positions < 500]


@pytest.mark.parametrize("case", SURE, ids=lambda case: f"{case.table}: {case.setting.name}")
def test_what_is_surely_seen_is_seen(case):
    seen = sum(case.seen(plant(case.setting, 1 + n, case.effect)) for n in range(PLANTS))
    assert bdtr(seen, PLANTS, case.promised - 0.05) >= SMALLEST_CHANCE


def test_a_plant_of_a_seed_is_always_the_same():
    one, two, other = (plant(SETTINGS[0], seed) for seed in (1, 1, 2))
    assert one.table.age_h.tolist() == two.table.age_h.tolist()
    assert one.table.age_h.tolist() != other.table.age_h.tolist()


@pytest.mark.parametrize("setting", SETTINGS, ids=lambda one: one.name)
def test_a_plant_is_what_its_setting_says(setting):
    table = plant(setting, 5).table
    assert len(set(table.position.tolist())) >= 0.9 * setting.positions
    assert (table.entry_h > 0).any() == (setting.scenario == "late_entry")
    # one bearing of each position still runs
    running = table.position[~table.ended]
    assert len(running) == len(set(running.tolist()))
