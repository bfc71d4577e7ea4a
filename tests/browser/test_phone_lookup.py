"""What the script of the phone looks up is what the service judges: every pair of sizes the blades can show, both ways.

The oracle is the service's own verdict on a reading that is sent, by the plan that is in force then; the windows of the
initial clearance are held against ISO 5753-1 elsewhere.
"""

import json
import re
from functools import partial
from html import unescape
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from service import units as unit_table
from service.instructions.readings.hold_points import verdict_in_sequence
from service.instructions.readings.readings import Reading, Value, verdict_of
from service.mounting.blades import attainable, blade_set_of
from service.store.queries import work_orders
from service.units import NM_PER_IN, NM_PER_MM, clearance
from service.use_cases.orders.shown import ShownOrder, shown_order
from tests.api.samples.machines import order
from tests.api.samples.orders import known_fan, rows
from tests.browser.conftest import Mill

TEMPLATES = Path(__file__).parents[2] / "service" / "render" / "phone" / "templates"
LOOK_UP_ALL = """([table, typed, unit, started]) => {
  %s
  const found = typed.map(([one, two]) => lookUp(table, one, two, unit, started));
  return found.map(said => said && [said.v, said.c || null]);
}"""
LOOK_UP_LINE = """([line, typed, unit]) => {
  %s
  const found = typed.map(numbers => lookUpLine(line, numbers[0], unit));
  return found.map(said => said && [said.v, said.c || null]);
}"""
SCALES = (("cap-torque", "tail"), ("place-free", "tail"), ("check-gap", "tail"))
UNITS = {"inch": ("in", NM_PER_IN, 4), "metric": ("mm", NM_PER_MM, 3)}


def table_of(mill: Mill, made: dict[str, Any], link: str, step: str) -> dict[str, Any]:
    """The table that comes with a step of the tail bearing: its number is another one where a STOP stands before it."""
    plan = mill.json(f"/v1/work-orders/{made['id']}/instructions")
    number = next(each["number"] for each in plan["steps"] if each["id"] == step)
    page = mill.api.get(f"{link.removeprefix(mill.url)}/step/{number}/tail").text
    found = re.search(r'<script type="application/json" id="table">(.*?)</script>', page, re.DOTALL)
    assert found is not None, "the step carries its table"
    table: dict[str, Any] = json.loads(unescape(found[1]))
    return table


def shown(mill: Mill, order_id: str) -> ShownOrder:
    database = mill.api.application.extensions["capsaddle"].database
    with database.reading() as connection:
        site_id = connection.exec_driver_sql("SELECT id FROM sites").scalar_one()
    with database.read(str(site_id)) as tx:
        return shown_order(tx, order_id)


def judged(now: ShownOrder, kind: str, position: str, one_nm: int, two_nm: int) -> list[str | None]:
    """The verdict of the service on a pair of rows that is sent now."""
    assert now.situation is not None
    values = tuple(Value(quantity=clearance(nm), row=row) for row, nm in ((1, one_nm), (2, two_nm)))
    given = Reading(kind=kind, position=position, values=values, method="blades", person="A. Fitter")
    by = now.situation
    found = verdict_of(given, by.plan, blade_set=by.blade_set, charts=by.job.charts, earlier=by.entries)
    found = verdict_in_sequence(found, given, by.revision, by.entries)
    return [found.verdict, found.code]


def looked_up(
    chromium: Any, table: dict[str, Any], pairs: list[tuple[int, int]], units: str, started: Any = None
) -> list[Any]:
    """What the script finds for each pair, typed as the instrument shows it."""
    unit, per, decimals = UNITS[units]
    typed = [[f"{nm / per:.{decimals}f}" for nm in pair] for pair in pairs]
    page = chromium.new_page()
    try:
        found: list[Any] = page.evaluate(
            LOOK_UP_ALL % (TEMPLATES / "lookup.js").read_text(encoding="utf-8"), [table, typed, unit, started]
        )
    finally:
        page.close()
    return found


def opened(mill: Mill, units: str) -> tuple[dict[str, Any], str]:
    machine = known_fan() if units == "inch" else known_fan(sleeve_thread="metric")
    asked = order("WO-1", machine, positions=("drive", "tail"))
    if units == "metric":
        with mill.api.application.extensions["capsaddle"].database.engine.begin() as connection:
            connection.exec_driver_sql("""UPDATE sites SET units = 'metric', blade_set = '"metric"'""")
        mill.api.application.extensions["capsaddle"].keyring.__init__(  # the key of the site as it is now
            mill.api.application.extensions["capsaddle"].database, 0.0
        )
    made = mill.api.post("/v1/work-orders", json=asked, headers=mill.headers)
    assert made.status_code == 201, made.text
    return made.json, mill.link(made.json["id"])


def grid(now: ShownOrder, table: dict[str, Any]) -> list[tuple[int, int]]:
    """Every pair of the sizes of the table, and sizes just beyond it."""
    assert now.situation is not None
    beyond = [size for size in attainable(now.situation.blade_set) if size > max(table["sizes"])][:3]
    sizes = [*table["sizes"], *beyond]
    return [(one, two) for one in sizes for two in sizes]


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_the_whole_grid_of_initial_clearances(mill: Mill, chromium: Any, units: str) -> None:
    made, link = opened(mill, units)
    now, table = shown(mill, made["id"]), table_of(mill, made, link, "initial")
    pairs = grid(now, table)
    found = looked_up(chromium, table, pairs, units)
    inside = set(table["sizes"])
    for pair, each in zip(pairs, found, strict=True):
        if set(pair) <= inside:
            assert each == judged(now, "initial_clearance", "tail", *pair), pair
        else:
            assert each is None, "what the table lacks is judged when it is sent"
    assert {each[0] for each in found if each} == {"accept", "recheck", "reject"}


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_the_whole_grid_of_residual_clearances_before_and_after_the_initial_one_is_sent(
    mill: Mill, chromium: Any, units: str
) -> None:
    """The table that was made before the initial clearance was sent, against the plan that sending it has made."""
    made, link = opened(mill, units)
    before = table_of(mill, made, link, "residual-free")
    pairs = grid(shown(mill, made["id"]), before)
    for each in looked_up(chromium, before, pairs, units):
        assert each is None or each == ["recheck", "initial_clearance_not_measured"]
    starts = [tuple(map(int, name.split(","))) for name in before["after"]]
    assert starts, "every accepted pair has its table"
    unit, per, decimals = UNITS[units]
    for start in starts:
        values = [
            {"value": {"value": round(nm / per, decimals), "unit": unit}, "row": n} for n, nm in enumerate(start, 1)
        ]
        sent = rows("initial_clearance", "tail", 0.0040) | {"values": values}
        answer = mill.api.post(
            f"/v1/work-orders/{made['id']}/readings", json={"readings": [sent]}, headers=mill.headers
        )
        assert answer.json["items"][0]["verdict"] == "accept", start
        now = shown(mill, made["id"])
        assert now.situation is not None and now.situation.revision > 1
        wanted = [judged(now, "residual_clearance", "tail", *pair) for pair in pairs]
        found = looked_up(chromium, before, pairs, units, list(start))
        assert [f for f, p in zip(found, pairs, strict=True) if set(p) <= set(before["sizes"])] == [
            w for w, p in zip(wanted, pairs, strict=True) if set(p) <= set(before["sizes"])
        ], start
        fresh = table_of(mill, made, link, "residual-free")
        again = looked_up(chromium, fresh, pairs, units)
        assert again == [w if set(p) <= set(fresh["sizes"]) else None for w, p in zip(wanted, pairs, strict=True)]


def test_what_is_no_number_of_the_table_is_not_looked_up(mill: Mill, chromium: Any) -> None:
    made, link = opened(mill, "inch")
    table = table_of(mill, made, link, "initial")
    script = LOOK_UP_ALL % (TEMPLATES / "lookup.js").read_text(encoding="utf-8")
    page = chromium.new_page()
    try:
        typed = [["0.0041", "0.0040"], ["", "0.0040"], ["4", "4"], ["-0.004", "0.004"], ["4e-3", "0.004"], ["1/2", "0"]]
        assert page.evaluate(script, [table, typed, "in", None]) == [None] * len(typed)
        assert page.evaluate(script, [table, [["0.0040", "0.0040"]], "degF", None]) == [None]
        assert page.evaluate(script, [table, [["0.0040", "0.0040"]], "in", [1, 1]]) == [None]
        assert page.evaluate(script, [table, [["4", "4"]], "thou", None]) == [["accept", None]]
    finally:
        page.close()


def test_the_revision_that_is_shown_is_the_one_that_is_judged_by(mill: Mill) -> None:
    made, _ = opened(mill, "inch")
    now = shown(mill, made["id"])
    database = mill.api.application.extensions["capsaddle"].database
    with database.reading() as connection:
        site_id = str(connection.exec_driver_sql("SELECT id FROM sites").scalar_one())
    with database.read(site_id) as tx:
        latest = work_orders.revision(tx, made["id"])
    assert latest is not None and now.situation is not None and now.situation.plan == latest.record


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_the_stamps_of_every_stack_add_up_to_what_it_shows(mill: Mill, chromium: Any, units: str) -> None:
    """Sums in whole nanometres are the oracle; 0 where nothing passes."""
    given = blade_set_of(units)
    unit, per, _ = UNITS[units]
    stamps = [f"{nm / per:.5f}".rstrip("0").rstrip(".") for nm in given.blades_nm]
    by_stamp = dict(zip(stamps, given.blades_nm, strict=True))
    stacks = [list(each) for n in range(4) for each in combinations(stamps, n)]
    page = chromium.new_page()
    try:
        script = "([stacks, stamps]) => { %s return stacks.map(each => stackReads(each, stamps)); }"
        found = page.evaluate(script % (TEMPLATES / "lookup.js").read_text(encoding="utf-8"), [stacks, stamps])
    finally:
        page.close()
    dimension = unit_table.UNITS["length"][unit]
    read = [unit_table.to_nm(float(each), dimension) for each in found]
    assert read == [sum(by_stamp[stamp] for stamp in stack) for stack in stacks]
    assert set(read) - {0} == set(attainable(given))


def scale_of(mill: Mill, made: dict[str, Any], link: str, step: str, position: str) -> tuple[dict[str, Any], Any]:
    """The table that comes with a step that reads a number on a scale, and the step."""
    plan = mill.json(f"/v1/work-orders/{made['id']}/instructions")
    number = next(each["number"] for each in plan["steps"] if each["id"] == step)
    page = mill.api.get(f"{link.removeprefix(mill.url)}/step/{number}/{position}").text
    found = re.search(r'<script type="application/json" id="table">(.*?)</script>', page, re.DOTALL)
    assert found is not None, f"{step} carries its table"
    kept = next(each for each in shown(mill, made["id"]).revision.record["steps"] if each["id"] == step)
    return json.loads(unescape(found[1])), kept


@pytest.mark.parametrize("units", ["inch", "metric"])
@pytest.mark.parametrize(("step", "position"), SCALES)
def test_the_whole_scale_of_a_size_a_gap_a_torque(
    mill: Mill, chromium: Any, units: str, step: str, position: str
) -> None:
    """Every number that the instrument shows."""
    made, link = opened(mill, units)
    line, kept = scale_of(mill, made, link, step, position)
    assert line["unit"] in ("in", "mm", "lbf.ft", "N.m")
    count = sum(length for length, _ in line["runs"])
    numbers = [f"{(line['first'] + n) / 10 ** line['places']:.{line['places']}f}" for n in range(count)]
    typed = [[one] for one in numbers]
    page = chromium.new_page()
    try:
        script = LOOK_UP_LINE % (TEMPLATES / "lookup.js").read_text(encoding="utf-8")
        found = page.evaluate(script, [line, typed, line["unit"]])
        beyond = page.evaluate(script, [line, [["0.00001"], ["x"], ["9999"], ["1.2345678"]], line["unit"]])
        other = page.evaluate(script, [line, typed[:1], "thou"])
    finally:
        page.close()
    now = shown(mill, made["id"])
    judge = partial(judged_on_scale, now, line, kept, position)
    wanted = [judge(*map(float, each)) for each in typed]
    differ = [(each, got, right) for each, got, right in zip(typed, found, wanted, strict=True) if got and got != right]
    assert differ == []
    accepted = [got for got, right in zip(found, wanted, strict=True) if right[0] == "accept"]
    assert accepted and all(accepted), "whatever is right is looked up"
    assert beyond == [None] * 4 and other == [None]
    assert {each[0] for each in wanted} >= {"accept", "reject"}


def judged_on_scale(
    now: ShownOrder, line: dict[str, Any], step: Any, position: str, *numbers: float
) -> list[str | None]:
    """The verdict of the service on numbers that are sent now."""
    assert now.situation is not None
    kind = "torque" if line["kind"].endswith("torque") else "dimension"
    unit = unit_table.UNITS[unit_table.KINDS[kind].dimension][line["unit"]]
    values = tuple(Value(quantity=unit_table.Quantity(kind, unit_table.to_base(each, unit))) for each in numbers)
    by = now.situation
    given = Reading(kind=line["kind"], position=position, step=step["id"], values=values, person="A. Fitter")
    found = verdict_of(given, by.plan, blade_set=by.blade_set, charts=by.job.charts, earlier=by.entries)
    return [found.verdict, found.code]
