"""An invented plant for the store's tests."""

from datetime import UTC, datetime
from typing import Any

from service import units
from service.store.database import Database
from service.store.queries import assets, completions, entries, readiness, sites, work_orders
from service.store.unit_of_work import Event, Tx, Written

OPENED_AT = datetime(2026, 1, 7, 6, 30, tzinfo=UTC)


def position(name: str, at_mm: float, **members: Any) -> dict[str, Any]:
    """A position of a plummer block."""
    bearing = {"designation": "22216 K/C3"}
    return {"name": name, "at": units.distance(at_mm), "bearing": bearing, **members}


def asset(tag: str = "FAN-1", *positions: dict[str, Any], name: str = "Fan") -> dict[str, Any]:
    """An asset with one shaft."""
    shaft = {
        "name": "main",
        "drives": [{"at": units.distance(3400), "kind": "coupling"}],
        "shaft": {"material": "carbon_steel", "temperature": units.temperature(80)},
        "positions": list(positions) or [position("tail", 0), position("drive", 3000)],
    }
    return {"tag": tag, "name": name, "shafts": [shaft]}


def site(database: Database, code: str = "north", unit_system: str = "inch") -> str:
    """The id of a new site."""
    return sites.create_site(database, code, "North works", unit_system).id


def stored(database: Database, site_id: str, document: dict[str, Any] | None = None) -> assets.AssetRow:
    """A new asset."""
    return written(database, site_id, lambda tx: assets.insert_asset(tx, document or asset()))


def order(
    tx: Tx, machine: assets.AssetRow, number: str = "WO-1", names: tuple[str, ...] = ("tail",), **members: Any
) -> work_orders.WorkOrderRow:
    """A new order for positions of the first shaft."""
    ids = {item["name"]: item["id"] for item in machine.shafts[0]["positions"]}
    positions = [{"position_id": ids[name], "name": name, "bearing": None} for name in names]
    given = {
        "external_system": "plant-a",
        "external_number": number,
        "kind": "replacement",
        "opened_at": OPENED_AT,
        "positions": positions,
    }
    return work_orders.insert_work_order(tx, asset_id=machine.id, asset_tag=machine.tag, **(given | members))


def reading(tx: Tx, order_id: str, **members: Any) -> entries.ReadingRow:
    """A reading of the tail bearing."""
    given = {
        "entry": 1,
        "kind": "initial_clearance",
        "position": "tail",
        "step": None,
        "revision": 1,
        "made_revision": 2,
        "verdict": "accept",
        "code": None,
        "taken_at": OPENED_AT,
        "taken_by": "A. Fitter",
        "replaces": None,
        "document": {"values": [{"value": units.clearance(101_600)}]},
    }
    return entries.insert_reading(tx, work_order_id=order_id, **(given | members))


def life_of(tx: Tx, order_id: str) -> completions.CompletionRow:
    """A row in every table of an order's life: a reading, a deviation, what was found, completion and correction."""
    reading(tx, order_id)
    approved = {"reason": "worn gauge", "approved_by": "B. Foreman", "taken_by": "A. Fitter"}
    where = {"entry": 2, "step": "rings", "position": None, "revision": 2}
    entries.insert_deviation(tx, work_order_id=order_id, **where, **approved)
    entries.insert_as_found(tx, work_order_id=order_id, position="tail", made_revision=None, document={})
    row = completions.insert_completion(
        tx, work_order_id=order_id, revision=2, completed_at=OPENED_AT, completed_by="A. Fitter", document={}
    )
    completions.insert_correction(
        tx, completion_id=row.id, corrects=row.id, reason="wrong serial", corrected_by="B. Foreman", document={}
    )
    return row


def released(tx: Tx, order_id: str) -> None:
    """An answer of the office, and the release of the order."""
    answer = {"question": "arrangement", "position": None, "value": "as drawn", "source": None, "made_revision": None}
    readiness.insert_answer(tx, work_order_id=order_id, answered_by="C. Planner", **answer)
    readiness.insert_release(
        tx, work_order_id=order_id, revision=2, released_by="C. Planner", reason=None, questions_open=[]
    )


def written(database: Database, site_id: str, work: Any, *events: Event) -> Any:
    """What ``work`` returns, committed."""
    results = []

    def unit(tx: Tx) -> Written:
        results.append(work(tx))
        return Written(200, "{}", events=events)

    database.write(site_id=site_id, actor="tester", request_id="test", work=unit)
    return results[-1]
