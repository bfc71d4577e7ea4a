"""The next revision of the instructions of an open order, made from its inputs and the books now in force (rule I6)."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service import ENGINE_VERSION
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.reference.tables import DATA_VERSION
from service.store.queries import books, work_orders
from service.store.queries.work_orders import RevisionRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder


def renew_revision(tx: Tx, at: HeldOrder) -> tuple[HeldOrder, tuple[Event, ...]]:
    """Return the order with instructions that this engine made: an older engine's say their steps in another shape."""
    if at.revision.engine_version == ENGINE_VERSION:
        return at, ()
    made, events = issue_revision(tx, at, at.revision.inputs)
    return replace(at, revision=made), events


def issue_revision(tx: Tx, at: HeldOrder, inputs: Mapping[str, Any]) -> tuple[RevisionRow, tuple[Event, ...]]:
    """Store the next revision of the instructions, made from these inputs and the site's books now in force.

    A chart corrected since the last revision must reach the mechanic while the nut can still be turned; the event
    names the books that changed.
    """
    in_force = books.books_in_force(tx)
    record = plan(job_of_inputs(inputs, books=in_force))
    references = in_force.references(record["sources"])
    made = work_orders.insert_revision(
        tx,
        work_order_id=at.order.id,
        number=at.revision.number + 1,
        supersedes=at.revision.number,
        data_version=DATA_VERSION,
        engine_version=ENGINE_VERSION,
        inputs={**inputs, "books": references},
        record=record,
    )
    data = {
        "revision": made.number,
        "supersedes": at.revision.number,
        "books_changed": _changed(at, references),
        "blocked": [each["code"] for each in record["blocked"]],
    }
    event = Event("instructions.revised", "work_order", at.order.id, at.revision.sha256, made.sha256, data)
    return made, (event,)


def _changed(at: HeldOrder, references: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return name and version of the books that the revision before did not have."""
    before = {reference["id"] for reference in at.revision.inputs.get("books", ())}
    return [{"name": r["name"], "version": r["version"]} for r in references if r["id"] not in before]
