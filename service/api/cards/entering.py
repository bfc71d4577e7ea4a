"""What a phone enters: readings, what was found, questions, deviations; each stored once, whatever is sent twice.

The same document comes from a form without script and from the script of the page, which names it by a UUID of its own
(``sent_as``) and says when it was typed and when it is sent: so that a clock that runs wrong does no harm.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any, Final
from uuid import UUID

from flask import current_app, g

from service.api.cards.answer_forms import answer_value, names_of, places_of, sides_of
from service.api.cards.forms import NotTyped, reading_document, typed
from service.api.cards.found_forms import Line, found_document, typed_found
from service.api.orders.entries.reading_schemas import Readings
from service.api.orders.entries.schemas import AsFoundRequest, DeviationRequest
from service.api.orders.readiness.schemas import AnswersRequest
from service.errors import Conflict
from service.store.queries import entries, work_orders
from service.store.unit_of_work import Idempotency, Tx, Written
from service.use_cases.orders.answer import answer_questions
from service.use_cases.orders.ask import ask
from service.use_cases.orders.enter import approve_deviation, enter_reading
from service.use_cases.orders.found import enter_as_found
from service.use_cases.orders.held import HeldOrder, hold_order, order_of
from service.use_cases.orders.links import CardLink

WHAT: Final = ("reading", "as_found", "ask", "deviation", "answer")
LONGEST_KEPT: Final = timedelta(days=366)
_READINGS: Final = Readings()
_FOUND: Final = AsFoundRequest()
_DEVIATION: Final = DeviationRequest()
_ANSWERS: Final = AnswersRequest()
_ASKED: Final = ("step", "position", "nonce", "note", "taken_by")
_ANSWERED: Final = ("question", "position", "nonce", "taken_by", "source")
_DEVIATED: Final = ("step", "position", "nonce", "reason", "approved_by", "taken_by")
STALE: Final = "stale_version"


@dataclass(frozen=True, slots=True)
class Entered:
    """What a phone sends.

    Parameters
    ----------
    fields : mapping of name to values
        As its form has them
    sent_as : str or None
        The UUID that the phone gave it; None for a form without script
    taken_at : datetime
        When it was typed
    held : bool
        It waited on the phone: it is judged by the revision it was typed at, also where that is not the latest, [-]
    """

    what: str
    fields: Mapping[str, list[str]]
    sent_as: str | None
    taken_at: datetime
    held: bool = False


def taken_moment(taken_ms: float, sent_ms: float) -> datetime:
    """Return when something was typed by our clock: so long ago as the phone says, whatever its clock shows.

    Raises
    ------
    NotTyped
        It was kept for more than a year, or typed after it was sent.
    """
    age = timedelta(milliseconds=max(0.0, sent_ms - taken_ms))
    if age > LONGEST_KEPT:
        raise NotTyped("it was kept for more than a year; type it in the maintenance system")
    return datetime.now(UTC) - age


def enter(link: CardLink, given: Entered, lines: tuple[Line, ...] = ()) -> str:
    """Store what was entered and return its id; sent again it is found, not stored.

    Raises
    ------
    NotTyped
        A name, a number or a choice is missing or cannot be read.
    ServiceError, ValidationError
        As the API refuses the same document.
    """
    work, key = _WORK[given.what](link, given, lines)
    content = "\n".join(f"{name}={value}" for name in sorted(given.fields) for value in given.fields[name])
    fingerprint = sha256(f"{link.order_id}\n{given.what}\n{content}".encode()).hexdigest()
    once = None
    if given.sent_as is not None:
        once = f"card {given.sent_as}"
    elif key:
        once = f"card {fingerprint}"
    written: Written = current_app.extensions["capsaddle"].database.write(
        site_id=link.caller.site_id,
        actor=link.caller.key_id,
        request_id=g.request_id,
        work=work,
        idempotency=None
        if once is None
        else Idempotency(key=once, method="POST", route="/card/<token>", fingerprint=fingerprint),
    )
    return written.text


def is_uuid(value: Any) -> bool:
    """Return whether a value is a UUID as a phone makes them, [-]."""
    try:
        return isinstance(value, str) and str(UUID(value)) == value
    except ValueError:
        return False


Work = Callable[[Tx], Written]


def _reading(link: CardLink, given: Entered, lines: tuple[Line, ...]) -> tuple[Work, str]:
    sent = typed(given.fields)

    def work(tx: Tx) -> Written:
        stored = _stored(given.sent_as, entries.readings_of(tx, link.order_id))
        if stored is not None:
            return Written(200, stored)
        at = hold_order(tx, link.order_id)
        number = _revision(sent.get("revision", ""), given, at)
        issued = at.revision if number is None else work_orders.revision(tx, at.order.id, number)
        if issued is None:
            raise NotTyped("the card has no such revision; load it again")
        document = reading_document(
            sent | _withdrawn(tx, link.order_id, sent), issued.record, revision=number, taken_at=given.taken_at
        )
        loaded = _READINGS.load({"readings": [document]})["readings"][0]
        _, row, events = enter_reading(tx, at, loaded | _named(given))
        return Written(201, row.id, {}, events)

    return work, sent.get("nonce", "")


def _withdrawn(tx: Tx, order_id: str, sent: Mapping[str, str]) -> dict[str, str]:
    """Return what takes a reading back that its phone believed unsent; nothing where it never came here."""
    rows = entries.readings_of(tx, order_id) if sent.get("withdraws") else []
    stored = next(filter(None, (_stored(name, rows) for name in sent.get("withdraws", "").split("\n"))), None)
    return {} if stored is None else {"replaces": stored, "reason": "typing_slip"}


def _revision(text: str, given: Entered, at: HeldOrder) -> int | None:
    """Return the revision of the card in hand; None where the phone waits for one that its own reading makes.

    Raises
    ------
    Conflict
        ``stale_version``: the card changed since it was loaded, and nothing of it waited on the phone.
    """
    if not text and given.sent_as is not None:
        return None
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0
    if not given.held and number < at.revision.number and number > 0:
        said = f"the card has changed meanwhile: it is revision {at.revision.number}; look at it, then send again"
        raise Conflict(said, code=STALE)
    return number


def _named(given: Entered) -> dict[str, str]:
    return {} if given.sent_as is None else {"sent_as": given.sent_as}


def _stored(sent_as: str | None, rows: Sequence[Any]) -> str | None:
    """Return the id of what this phone sent before, however long ago and by whichever link."""
    if sent_as is None:
        return None
    return next((row.id for row in rows if row.document.get("sent_as") == sent_as), None)


def _as_found(link: CardLink, given: Entered, lines: tuple[Line, ...]) -> tuple[Work, str]:
    sent = typed_found(given.fields, lines)
    position = sent.get("position", "")
    document = _FOUND.load(found_document(sent, lines, position=position, taken_at=given.taken_at))

    def work(tx: Tx) -> Written:
        stored = _stored(given.sent_as, entries.as_found_of(tx, order_of(tx, link.order_id).id))
        if stored is not None:
            return Written(200, stored)
        _, row, events = enter_as_found(tx, hold_order(tx, link.order_id), document | _named(given))
        return Written(201, row.id, {}, events)

    return work, sent.get("nonce", "")


def _ask(link: CardLink, given: Entered, lines: tuple[Line, ...]) -> tuple[Work, str]:
    sent = _simple(given.fields, _ASKED)
    note, name = _text(sent, "note", 500), _text(sent, "taken_by", 80)
    asked = {"step": _step(sent), "position": sent.get("position") or None, "note": note, "taken_by": name}

    def work(tx: Tx) -> Written:
        return Written(201, "", {}, (ask(tx, link.order_id, asked, asked_at=given.taken_at),))

    return work, sent.get("nonce", "")


def _deviation(link: CardLink, given: Entered, lines: tuple[Line, ...]) -> tuple[Work, str]:
    if not link.approves:
        raise NotTyped("deviations are approved in the maintenance system, not on this card")
    sent = _simple(given.fields, _DEVIATED)
    names = ("reason", "approved_by", "taken_by")
    document = {"step": _step(sent), **{name: _text(sent, name, 2000 if name == "reason" else 80) for name in names}}
    if sent.get("position"):
        document["position"] = sent["position"]
    loaded = _DEVIATION.load(document)

    def work(tx: Tx) -> Written:
        _, row, events = approve_deviation(tx, hold_order(tx, link.order_id), loaded)
        return Written(201, row.id, {}, events)

    return work, sent.get("nonce", "")


def _answer(link: CardLink, given: Entered, lines: tuple[Line, ...]) -> tuple[Work, str]:
    def work(tx: Tx) -> Written:
        at = hold_order(tx, link.order_id)
        plan = at.revision.record
        question, position = ((given.fields.get(name) or [""])[0] for name in ("question", "position"))
        asked = [(each["id"], each["position"]) for each in plan.get("readiness", ())]
        if (question, position or None) not in asked:
            raise NotTyped("the card asks no such question; load it again")
        names = names_of(plan)
        places = places_of(question, names=names, sides=sides_of(plan), metric=plan["units"] == "metric")
        known = [name for each in places for name in (each.name, f"{each.name}-unit")]
        sent = _simple(given.fields, (*_ANSWERED, *known))
        document = {"question": question, "answered_by": _text(sent, "taken_by", 80)}
        document |= {name: sent[name] for name in ("position", "source") if sent.get(name)}
        document["value"] = answer_value(question, sent, places, names)
        _, rows, events = answer_questions(tx, at, _ANSWERS.load({"answers": [document]})["answers"])
        return Written(201, rows[0].id, {}, events)

    return work, (given.fields.get("nonce") or [""])[0]


_WORK: Final = {"reading": _reading, "as_found": _as_found, "ask": _ask, "deviation": _deviation, "answer": _answer}


def _simple(fields: Mapping[str, list[str]], known: tuple[str, ...]) -> dict[str, str]:
    for name, values in fields.items():
        if name not in known or len(values) != 1:
            raise NotTyped(f"{name[:40]} is not part of this form")
    return {name: values[0].strip() for name, values in fields.items()}


def _step(sent: Mapping[str, str]) -> str:
    """Return the id of the step: its number may be another one in the next revision."""
    text = sent.get("step", "")
    if not text or len(text) > 120:
        raise NotTyped("this card has no such step")
    return text


def _text(sent: Mapping[str, str], name: str, longest: int) -> str:
    """Return a text that must be there; control characters are none of it."""
    text = " ".join(sent.get(name, "").split())
    said = {"note": "say what is the matter", "reason": "say why it may stay as it is"}.get(name, "write the name")
    if not text or len(text) > longest or not text.isprintable():
        raise NotTyped(f"{said}; at most {longest} characters")
    return text
