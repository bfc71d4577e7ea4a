"""TAKE and LEAVE of checks W16 to W20 of tests/data/order_of_work_checks.csv: window of rule C4, blade of C6."""

import csv
from pathlib import Path

import pytest

from service.mounting.blades import INCH_SET, METRIC_SET
from service.mounting.clearance import clearance_target
from service.mounting.designation import bearing_from_designation
from service.mounting.readings import Measured
from service.units import NM_PER_IN, NM_PER_MM

FILE = Path(__file__).parents[2] / "data" / "order_of_work_checks.csv"
CHECKS = {row["id"]: row for row in csv.DictReader(FILE.read_text(encoding="utf-8").splitlines())}


@pytest.mark.parametrize("check", ["W16", "W17", "W18", "W19", "W20"])
def test_what_is_taken_and_what_is_left_close_the_sum(check: str) -> None:
    """Windows: practice tables; which blade is chosen is our own convention, as the rows say."""
    row = CHECKS[check]
    designation, _, rest = row["inputs"].partition(", ")
    metric = rest.startswith("fine metric set")
    nm_per_unit = NM_PER_MM if metric else NM_PER_IN
    initial_nm = round(float(rest.split("both rows ")[1].split(";")[0]) * nm_per_unit)
    take_nm, leave_nm = (round(float(part) * nm_per_unit) for part in row["value"].split(";"))
    found = clearance_target(
        bearing=bearing_from_designation(designation),
        seat="adapter_sleeve",
        measured=Measured(((initial_nm,), (initial_nm,))),
        blade_set=METRIC_SET if metric else INCH_SET,
    )
    assert found.blades is not None and found.blades.target is not None
    assert sum(found.blades.target) == leave_nm
    assert initial_nm - sum(found.blades.target) == take_nm
