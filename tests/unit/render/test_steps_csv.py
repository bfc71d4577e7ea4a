"""The steps as CSV rows for a maintenance system."""

import csv
import io

import pytest

from service.render.card.steps_csv import steps_csv
from service.render.present import quantity_text
from tests.unit.instructions.machines import dryer_fan, leaves, plan_of, unknown_machine


def rows(made, system="inch"):
    return list(csv.DictReader(io.StringIO(steps_csv(made, units=system))))


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_one_row_a_step_with_a_short_and_a_long_text(system):
    made = plan_of(dryer_fan(), "tail")
    found = rows(made, system)
    assert [int(row["number"]) for row in found] == [each["number"] for each in made["steps"]]
    assert all(0 < len(row["short_text"]) <= 40 for row in found)
    for row, each in zip(found, made["steps"], strict=True):
        for number in leaves([each["text"], each["cautions"], (each["record"] or {}).get("limits")]):
            assert quantity_text(number, system) in row["long_text"]


def test_hold_points_are_told_in_the_long_text():
    made = plan_of(dryer_fan(), "tail")
    told = ["HOLD POINT." in row["long_text"] for row in rows(made)]
    assert told == [each["hold_point"] for each in made["steps"]]


@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_no_cell_is_a_formula(sign):
    document = unknown_machine()
    document["shafts"][0]["positions"][0]["name"] = f"{sign}1+1"
    assert not [row for row in rows(plan_of(document, f"{sign}1+1")) if row["long_text"].startswith(sign)]
