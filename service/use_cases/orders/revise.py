"""The next revision of the instructions of an open order, made from its inputs and the books now in force (rule I6)."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from service import ENGINE_VERSION
from service import record as records
from service.errors import Conflict
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.reference.tables import DATA_VERSION
from service.store.queries import books, work_orders
from service.store.queries.work_orders import RevisionRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import HeldOrder

MOST_REVISIONS: Final = 200
"""Revisions of the instructions of one order, beyond those that a newer engine asks for; common practice, no source."""


def renew_revision(tx: Tx, at: HeldOrder) -> tuple[HeldOrder, tuple[Event, ...]]:
    """Return the order with instructions that this engine made: an older engine's say their steps in another shape."""
    if at.revision.engine_version == ENGINE_VERSION:
        return at, ()
    made, events = _issue(tx, at, at.revision.inputs, anew=True)
    return replace(at, revision=made), events


def issue_revision(tx: Tx, at: HeldOrder, inputs: Mapping[str, Any]) -> tuple[RevisionRow, tuple[Event, ...]]:
    """Store the next revision of the instructions, made from these inputs and the site's books now in force.

    A chart corrected since the last revision must reach the mechanic while the nut can still be turned; the event
    names the books that changed. Where nothing differs, neither inputs nor books nor plan, the revision in force stays
    and there is no event: the same entry again must not fill the record.

    Raises
    ------
    Conflict
        ``too_many_revisions``
    """
    return _issue(tx, at, inputs, anew=False)


def _issue(tx: Tx, at: HeldOrder, inputs: Mapping[str, Any], *, anew: bool) -> tuple[RevisionRow, tuple[Event, ...]]:
    """Store the next revision; ``anew``: because the engine is another one, whether anything differs or not."""
    in_force = books.books_in_force(tx)
    record = plan(job_of_inputs(inputs, books=in_force))
    references = in_force.references(record["sources"])
    if not anew:
        same_inputs = records.encoded({**inputs, "books": references}) == at.revision.inputs_text
        if same_inputs and records.sha256(record) == at.revision.sha256:
            return at.revision, ()
        if at.revision.number >= MOST_REVISIONS:
            said = f"the order has {at.revision.number} revisions and takes no more; complete it, or cancel it"
            raise Conflict(said, code="too_many_revisions")
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
