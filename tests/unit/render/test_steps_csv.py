"""The steps as CSV rows for a maintenance system."""

import csv
import io
import re

import pytest

from service.render.card.steps_csv import steps_csv
from service.render.present import quantity_text
from tests.unit.instructions.machines import dryer_fan, leaves, plan_of, two_locating, unknown_machine


def rows(made, system="inch"):
    return list(csv.DictReader(io.StringIO(steps_csv(made, units=system))))


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_one_row_a_step_with_a_short_and_a_long_text(system):
    made = plan_of(dryer_fan(), "tail")
    found = rows(made, system)
    assert [int(row["number"]) for row in found] == [each["number"] for each in made["steps"]]
    assert all(0 < len(row["short_text"]) <= 40 for row in found)
    for row, each in zip(found, made["steps"], strict=True):
        told = [each["text"]["standard"], each["by_position"], each["cautions"], (each["record"] or {}).get("limits")]
        for number in leaves(told):
            assert quantity_text(number, system) in row["long_text"]


def test_holds_and_stops_are_told_in_the_long_text():
    for document in (dryer_fan(), two_locating()):
        made = plan_of(document, "tail")
        for row, each in zip(rows(made), made["steps"], strict=True):
            held = [] if each["hold"] is None else [str(each["hold"])]
            assert re.findall(r"HOLD (\d): go on only", row["long_text"]) == held
            assert ("STOP: go on only when another person" in row["long_text"]) == (each["stop"] is not None)
            assert all(name in row["long_text"] for name in each["positions"])


@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_no_cell_is_a_formula(sign):
    document = unknown_machine()
    document["shafts"][0]["positions"][0]["name"] = f"{sign}1+1"
    assert not [row for row in rows(plan_of(document, f"{sign}1+1")) if row["long_text"].startswith(sign)]
