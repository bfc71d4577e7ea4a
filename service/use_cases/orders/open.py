"""Opening a work order: the natural key first, then the machine, then the plan; one transaction."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from service import ENGINE_VERSION
from service.errors import CannotEvaluate, Conflict, nearest
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.machine import differences, normalised_bearing, normalised_machine
from service.instructions.plan.plan import plan
from service.record import sha256
from service.reference.housings import Housing
from service.reference.tables import DATA_VERSION
from service.store.queries import assets, work_orders
from service.store.queries.assets import AssetRow
from service.store.queries.books import books_in_force
from service.store.queries.sites import site_of
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.register import asset_document, register_asset
from service.use_cases.orders.held import revision_in_force
from service.use_cases.orders.last_time import last_time

COMPARED: Final = ("asset", "positions", "kind")
"""Members of an order by which the same number sent again is the same request: what changes who does what."""
NOT_COMPARED: Final[Mapping[str, str]] = {
    "external": "it is what the order is found by",
    "wrench": "the tool at hand; the plan on record keeps the first",
    "opened_at": "systems send the time of sending",
    "allow_second": "it asks nothing of the order itself",
}


@dataclass(frozen=True, slots=True)
class Opening:
    """An order with its instructions; no events when it was there before."""

    order: WorkOrderRow
    revision: RevisionRow
    events: tuple[Event, ...]


def open_order(tx: Tx, given: dict[str, Any], *, units: str, blade_set: str) -> Opening:
    """Return the order of this number: the one on record when it is the same, else a new one with its plan.

    Raises
    ------
    Conflict
        The number is on record for something else (``work_order_differs``), or the machine is (``asset_differs``);
        another order is open on a position (``position_has_open_order``) and a second one was not allowed.
    CannotEvaluate
        An asset or position that is not known, a bearing that cannot be read or does not suit its seat.
    """
    system, number = given["external"]["system"], given["external"]["number"]
    wanted = _wanted_positions(given["positions"])
    order = work_orders.work_order_by_external(tx, system, number)
    if order is not None:
        return _opened_before(tx, order, given, wanted)
    books = books_in_force(tx)
    asset, events = _register_if_new(tx, given["asset"], books.housings)
    places = {p["name"]: _position_id(asset, p["name"]) for p in wanted}
    if not given.get("allow_second", False):
        try:
            _refuse_second(tx, list(places.values()))
        except Conflict:
            twin = work_orders.work_order_by_external(tx, system, number)  # committed since it was looked for
            if twin is None:
                raise
            return _opened_before(tx, twin, given, wanted)
    inputs: dict[str, Any] = {
        "asset": asset_document(asset),
        "positions": wanted,
        "kind": given["kind"],
        "units": units,
        "blade_set": blade_set,
        "wrench": given.get("wrench"),
        "planning_hours": site_of(tx).planning_hours,
        "last_time": last_time(tx, places),
    }
    refits = _refits(given["positions"])
    inputs |= {"refit_ordered": refits} if refits else {}
    record = plan(job_of_inputs(inputs, books=books))
    order = work_orders.insert_work_order(
        tx,
        external_system=system,
        external_number=number,
        asset_id=asset.id,
        asset_tag=asset.tag,
        kind=given["kind"],
        opened_at=given.get("opened_at", tx.now),
        positions=[{"position_id": places[p["name"]], **p} for p in wanted],
    )
    revision = work_orders.insert_revision(
        tx,
        work_order_id=order.id,
        number=1,
        supersedes=None,
        data_version=DATA_VERSION,
        engine_version=ENGINE_VERSION,
        inputs={**inputs, "books": books.references(record["sources"])},
        record=record,
    )
    data = {"external": given["external"], "asset": asset.tag, "blocked": [b["code"] for b in record["blocked"]]}
    event = Event("work_order.opened", "work_order", order.id, None, revision.sha256, data)
    return Opening(replace(order, revision=revision.number), revision, (*events, event))


def _wanted_positions(given: list[Any]) -> list[dict[str, Any]]:
    """Return name and bearing to be fitted of each position, each name once."""
    wanted: dict[str, dict[str, Any]] = {}
    for n, item in enumerate(given):
        name, bearing = (item, None) if isinstance(item, str) else (item["name"], item.get("bearing"))
        if name in wanted:
            raise CannotEvaluate(f"{name} is named twice", code="position_named_twice", field=f"positions/{n}")
        if bearing is not None:
            bearing = normalised_bearing(bearing, f"positions/{n}/bearing")
        wanted[name] = {"name": name, "bearing": bearing}
    return list(wanted.values())


def _refits(given: list[Any]) -> list[str]:
    """Return the positions whose own bearing goes back in.

    Raises
    ------
    CannotEvaluate
        ``refit_or_bearing``: a bearing to be fitted is named too.
    """
    found = []
    for n, item in enumerate(given):
        if isinstance(item, str) or not item.get("refit"):
            continue
        if item.get("bearing") is not None:
            said = f"{item['name']}: a new bearing is fitted or the own one goes back in, not both"
            raise CannotEvaluate(said, code="refit_or_bearing", field=f"positions/{n}/refit")
        found.append(item["name"])
    return found


def _register_if_new(
    tx: Tx, given: str | dict[str, Any], housings: Mapping[str, Housing]
) -> tuple[AssetRow, tuple[Event, ...]]:
    """Return the machine on record, held as it is; it is stored first when it came in full and is new."""
    if isinstance(given, str):
        assets.keep_as_they_are(tx, (given,))
        row = assets.asset_by_tag(tx, given)
        if row is None:
            near = nearest([given], assets.some_tags(tx))
            said = (
                f"no asset of this site has the tag {given}{near}; GET /v1/assets lists them, or send the asset in full"
            )
            raise CannotEvaluate(said, code="unknown_asset", field="asset")
        return row, ()
    document = _document(given, housings)
    assets.keep_as_they_are(tx, (document["tag"],))
    row = assets.asset_by_tag(tx, document["tag"])
    if row is None:
        row, event = register_asset(tx, document)
        return row, (event,)
    sent = {**document, "shafts": [_as_sent(s, g) for s, g in zip(document["shafts"], given["shafts"], strict=True)]}
    found = list(differences(asset_document(row), sent))
    if found:
        faults = [
            {"pointer": f"#/asset{d['pointer']}", "code": "asset_differs", "detail": "differs from the asset on record"}
            for d in found
        ]
        detail = f"{row.tag} is on record and differs in {len(found)} places; change it with PUT /v1/assets/{row.id}"
        raise Conflict(detail, code="asset_differs", faults=faults, asset_id=row.id, differences=found)
    return row, ()


def _as_sent(normalised: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    """Return the shaft without members that were not sent, so that they do not count as different."""
    return {member: value for member, value in normalised.items() if member in given}


def _document(given: dict[str, Any], housings: Mapping[str, Housing]) -> dict[str, Any]:
    try:
        return normalised_machine(given, housings=housings)
    except CannotEvaluate as error:
        raise error.below("asset") from None


def _position_id(asset: AssetRow, name: str) -> str:
    """Return the id of a position; empty where the asset has none of the name, which its plan refuses."""
    return next((str(p["id"]) for shaft in asset.shafts for p in shaft["positions"] if p["name"] == name), "")


def _refuse_second(tx: Tx, position_ids: list[str]) -> None:
    """Refuse an order on a position where another one is open: two crews would work by two plans."""
    found = work_orders.open_orders_on(tx, [each for each in position_ids if each])
    if not found:
        return
    first = found[0]
    faults = [
        {
            "pointer": "#/positions",
            "code": "position_has_open_order",
            "detail": f"{each.name}: {each.external_number} of {each.external_system}",
        }
        for each in found
    ]
    said = (
        f"{first.name} has an open order already: {first.external_number} of {first.external_system}; "
        "complete or cancel it, or send allow_second: true"
    )
    raise Conflict(said, code="position_has_open_order", faults=faults, existing=first.id)


def _opened_before(tx: Tx, order: WorkOrderRow, given: dict[str, Any], wanted: list[dict[str, Any]]) -> Opening:
    """Return the order on record when it is the same request, else say where it differs."""
    tag = given["asset"] if isinstance(given["asset"], str) else given["asset"]["tag"]
    before = {"asset": order.asset_tag, "positions": _comparable(order.positions), "kind": order.kind}
    now = {"asset": tag, "positions": _comparable(wanted), "kind": given["kind"]}
    different = [member for member in COMPARED if before[member] != now[member]]
    if different:
        faults = [
            {"pointer": f"#/{member}", "code": "work_order_differs", "detail": f"on record: {before[member]}"}
            for member in different
        ]
        detail = (
            f"{order.external_number} of {order.external_system} is on record with another {' and '.join(different)}"
        )
        raise Conflict(detail, code="work_order_differs", faults=faults, existing=order.id)
    return Opening(order, revision_in_force(tx, order), ())


def _comparable(positions: list[dict[str, Any]]) -> str:
    """Return the positions as one text, whatever their order: names, and the bearing where one was named."""
    words = [p["name"] if p["bearing"] is None else f"{p['name']} ({_bearing_words(p['bearing'])})" for p in positions]
    return ", ".join(sorted(words))


def _bearing_words(bearing: dict[str, Any]) -> str:
    return str(bearing["designation"]) if "designation" in bearing else f"by dimensions {sha256(bearing)[:8]}"
