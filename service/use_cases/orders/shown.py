"""An order as its card on a phone shows it: what was entered, what is open, what later readings would be worth."""

from collections.abc import Sequence
from dataclasses import dataclass

from service import ENGINE_VERSION
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.readings.entries import Entry
from service.instructions.readings.foreseen import Foreseen, Situation, foreseen
from service.instructions.readings.hold_points import HoldPoint
from service.store.queries import entries, photos
from service.store.queries.entries import AsFoundRow, ReadingRow
from service.store.queries.photos import PhotoRow
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Tx
from service.use_cases.orders.held import books_of_revision, held_order, order_of


@dataclass(frozen=True, slots=True)
class ShownOrder:
    """An order as it stands at one moment; ``readings`` are all, ``counting`` the ids of those that count."""

    order: WorkOrderRow
    revision: RevisionRow
    readings: Sequence[ReadingRow]
    found: Sequence[AsFoundRow]
    entries: Sequence[Entry]
    still_open: Sequence[HoldPoint]
    situation: Situation | None
    photos: Sequence[PhotoRow]
    takes_photos: bool

    @property
    def counting(self) -> set[str]:
        """Return the ids of the entries that count."""
        return {each.id for each in self.entries}

    def table(self, kind: str, position: str) -> Foreseen | None:
        """Return the verdicts on a clearance before it is read; None for instructions of an older engine."""
        return None if self.situation is None else foreseen(kind, position, self.situation)


def shown_order(tx: Tx, order_id: str) -> ShownOrder:
    """Return an order as its card shows it.

    Raises
    ------
    NotFound
        The site has no such order.
    """
    order = order_of(tx, order_id)
    at = held_order(tx, order)
    revision, counting = at.revision, at.counting
    situation = None
    if revision.engine_version == ENGINE_VERSION:
        job = job_of_inputs(revision.inputs, books=books_of_revision(tx, revision))
        situation = Situation(revision.record, job, revision.number, counting)
    return ShownOrder(
        order=order,
        revision=revision,
        readings=entries.readings_of(tx, order.id),
        found=entries.as_found_of(tx, order.id),
        entries=counting,
        still_open=at.hold_points(),
        situation=situation,
        photos=photos.photos_of(tx, order.id),
        takes_photos=photos.takes_photos(tx),
    )
