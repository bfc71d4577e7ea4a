"""The course of a work order: everything that was entered in it, by whom, in the order in which it was done."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from service.errors import Text
from service.store.queries import completions, entries, readiness
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.transaction import Tx
from service.use_cases.orders.held import held_order

Line = dict[str, Any]


def course_of(tx: Tx, order: WorkOrderRow, revision: RevisionRow) -> list[Line]:
    """Return what was entered, the first done first: when, what, where, who, its values, how it was judged."""
    counting = {each.id for each in held_order(tx, order).counting}
    titles = {step["id"]: step["title"] for step in revision.record["steps"]}
    lines = [
        *_answers(tx, order),
        *_readings(tx, order, counting),
        *_deviations(tx, order, titles),
        *_found(tx, order),
        *_end(tx, order),
    ]
    return sorted(lines, key=lambda line: (line["at"], line["entered_at"]))


def _line(at: datetime, entered_at: datetime, what: str, who: str | None, **more: Any) -> Line:
    blank: Line = {
        "position": None,
        "step": None,
        "values": [],
        "verdict": None,
        "detail": "",
        "next": "",
        "counts": True,
    }
    return {"at": at, "entered_at": entered_at, "what": what, "who": who, **blank, **more}


def _answers(tx: Tx, order: WorkOrderRow) -> Iterator[Line]:
    for row in readiness.answers_of(tx, order.id):
        said = f"question {row.question}" + (f", from {row.source}" if row.source else "")
        yield _line(row.created_at, row.created_at, "answered", row.answered_by, position=row.position, detail=said)
    release = readiness.release_of(tx, order.id)
    if release is not None:
        reason = release.reason or ""
        yield _line(release.created_at, release.created_at, "released", release.released_by, detail=reason)


def _readings(tx: Tx, order: WorkOrderRow, counting: set[str]) -> Iterator[Line]:
    for row in entries.readings_of(tx, order.id):
        yield _line(
            row.taken_at,
            row.created_at,
            row.kind,
            row.taken_by,
            position=row.position,
            step=row.step,
            values=_values(row.document),
            verdict=row.verdict,
            detail=row.document.get("detail", ""),
            next=row.document.get("next", ""),
            counts=row.id in counting,
        )


def _values(document: dict[str, Any]) -> list[Text]:
    """Return the values of a reading in words: each with its row and point, a series by its pairs."""
    said: list[Text] = []
    for each in document.get("values", ()):
        value, where = each["value"], [f"{name} {each[name]}" for name in ("row", "point", "repeat") if name in each]
        words = ("yes" if value else "no") if isinstance(value, bool) else value
        said.append((f"{', '.join(where)}: " if where else "", words))
    for each in document.get("series", ()):
        said.append((f"{each['minute']} min: ", each["temperature"]))
    return said


def _deviations(tx: Tx, order: WorkOrderRow, titles: dict[str, str]) -> Iterator[Line]:
    for row in entries.deviations_of(tx, order.id):
        step = titles.get(row.step, row.step)
        yield _line(
            row.created_at,
            row.created_at,
            "deviation",
            row.approved_by,
            position=row.position,
            step=step,
            detail=row.reason,
        )


def _found(tx: Tx, order: WorkOrderRow) -> Iterator[Line]:
    for row in entries.as_found_of(tx, order.id):
        who = row.document.get("taken_by")
        facts = {name: value for name, value in row.document.items() if name not in ("taken_by", "photos")}
        yield _line(row.created_at, row.created_at, "as found", who, position=row.position, found=facts)


def _end(tx: Tx, order: WorkOrderRow) -> Iterator[Line]:
    row = completions.completion_of(tx, order.id)
    if row is not None:
        yield _line(row.completed_at, row.created_at, "completed", row.completed_by)
        for each in completions.corrections_of(tx, row.id):
            yield _line(each.created_at, each.created_at, "corrected", each.corrected_by, detail=each.reason)
    if order.status == "cancelled" and order.closed_at is not None:
        yield _line(order.closed_at, order.closed_at, "cancelled", None, detail=order.cancel_reason or "")
