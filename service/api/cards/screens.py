"""The screens of a card: which place is meant, which form is open, what stands on it."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from flask import current_app

from service.api.cards.answer_forms import names_of, places_of, sides_of
from service.api.cards.forms import Form, last_readings
from service.api.cards.found_forms import Line, found_lines, found_parts
from service.api.cards.page import CardPage
from service.api.cards.questions import OpenQuestion, open_questions
from service.api.cards.tables import blades, table
from service.errors import NotFound
from service.mounting.readings import ACCEPT
from service.render.card.shaft_line import shaft_on_record
from service.render.phone.figures import Figures
from service.render.phone.places import Place
from service.render.phone.screens import overview, step_screen, strips
from service.use_cases.orders.found import found_warnings
from service.words import PHOTO_SUBJECTS


def place_of(card: CardPage, number: int, position: str | None) -> Place:
    """Return the place that an address means; of a step of several bearings the first that is not done.

    Raises
    ------
    NotFound
        The card has no such step.
    """
    place = card.done.at(number, position)
    if place is None:
        raise NotFound("the card has no such step")
    return place


def position_known(card: CardPage, position: str) -> None:
    """Refuse a position that the shaft has not.

    Raises
    ------
    NotFound
        The card has no such position.
    """
    if position not in [each["position"] for each in card.plan["bolting"]]:
        raise NotFound("the card has no such position")


def overview_screen(card: CardPage) -> str:
    """Return where the job stands."""
    return card.screen("overview", screen=overview(card.plan, card.done, card.figures, open_questions(card.plan)))


def step_of_card(
    card: CardPage,
    place: Place,
    *,
    kind: str | None = None,
    replaces: str | None = None,
    nonce: str | None = None,
    sent: Mapping[str, str] | None = None,
    fault: str | None = None,
    ticked: str | None = None,
) -> str:
    """Return one step with one of its forms.

    Parameters
    ----------
    kind : str or None
        The form that is wanted; the first that is still needed where it is left out
    replaces : str or None
        The reading that is taken back
    sent, fault
        What was typed and not taken, and why
    ticked : str or None
        The number of the step that was ticked before
    """
    results = [row for row in _last(card, place) if row.kind != "confirmation"]
    forms = card.forms.get(place.number, [])
    old = next((row for row in card.shown.readings if row.id == replaces and row.id in card.shown.counting), None)
    form = _form(card, place, forms, old.kind if old is not None else kind)
    others = tuple((each.kind, each.label) for each in forms if form is not None and each.kind != form.kind)
    shown = step_screen(
        card.plan,
        card.done,
        place,
        card.figures,
        shaft=shaft_on_record(card.shown.revision.inputs),
        form=form,
        kinds=others,
        results=tuple(card.result(row) for row in results if form is None or row.kind == form.kind)[:1],
        **blades(card, form),
        table=None if form is None else table(card, form, place),
    )
    return card.screen(
        "step",
        screen=shown,
        place=place,
        nonce=nonce,
        sent=sent,
        fault=fault,
        replaced=None if old is None or form is None else card.result(old),
        earlier=_earlier(results, card.figures),
        ticked=ticked if ticked is not None and ticked.isascii() and ticked.isdigit() else None,
    )


def _form(card: CardPage, place: Place, forms: list[Form], wanted: str | None) -> Form | None:
    """Return the form that is open: the one asked for, else the first whose kind is not accepted yet."""
    if not forms:
        return None
    named = next((each for each in forms if each.kind == wanted), None)
    read = {row.kind for row in _last(card, place) if row.verdict == "accept"}
    return named or next((each for each in forms if each.kind not in read), forms[0])


def _last(card: CardPage, place: Place) -> list[Any]:
    """Return the last readings of a place, one of each kind."""
    counting = [row for row in card.shown.readings if row.id in card.shown.counting]
    own = last_readings(card.plan, counting).get(place.number, [])
    return [row for row in own if place.position in (None, row.position)]


def _earlier(results: list[Any], figures: Figures) -> str:
    """Return the series of a run-in as it was sent last, so that it is gone on with."""
    row = next((each for each in results if each.document.get("series")), None)
    if row is None:
        return ""
    return "\n".join(f"{pair['minute']:g} {figures.number(pair['temperature'])}" for pair in row.document["series"])


def reading_screen(card: CardPage, reading: str) -> str:
    """Return what a reading is worth.

    Raises
    ------
    NotFound
        The order has no such reading.
    """
    row = next((each for each in card.shown.readings if each.id == reading), None)
    if row is None:
        raise NotFound("the order has no such reading")
    place = _place_of_reading(card, row)
    result = card.result(row)
    still_open = place is not None and (place.step["hold"] is not None) and not place.done
    following = card.done.after(place)
    again = place if place is not None and row.verdict != "accept" and row.id in card.shown.counting else None
    if row.code == "too_tight":
        again = next(
            (each for each in card.done.places if each.step["id"] == "initial" and each.position == row.position), again
        )
    return card.screen(
        "reading",
        result=result,
        mark=result.mark,
        place=place,
        where=f"{row.position}: " if row.position else "",
        counts=row.id in card.shown.counting,
        mistyped=row.kind != "confirmation" and card.shown.order.status == "open",
        still_open=still_open,
        needed=_needed(card, place) if still_open and row.verdict == "accept" else [],
        again=again if card.shown.order.status == "open" else None,
        following=following,
    )


def after_reading(card: CardPage, reading: str) -> str:
    """Return where a reading leads: to its verdict, from a tick on to the next step."""
    row = next((each for each in card.shown.readings if each.id == reading), None)
    place = None if row is None else _place_of_reading(card, row)
    following = card.done.after(place)
    if row is None or place is None or following is None or (row.kind, row.verdict) != ("confirmation", ACCEPT):
        return f"/reading/{reading}"
    return f"{following.path}?done={place.number}"


def _needed(card: CardPage, place: Place | None) -> list[tuple[Place, str]]:
    """Return what an open hold still needs, each with the step at which it is read."""
    point = next(
        (
            each
            for each in card.shown.still_open
            if place is not None and (each.number, each.position) == (place.number, place.position)
        ),
        None,
    )
    if place is None or point is None:
        return []
    read = {
        each.kind for each in card.shown.entries if each.verdict == ACCEPT and place.position in (None, each.position)
    }
    missing = [group[0] for group in point.kinds if not read.intersection(group)]
    return [(_asked_at(card, kind, place), kind) for kind in missing]


def _asked_at(card: CardPage, kind: str, place: Place) -> Place:
    """Return the step at which a kind is read at the same bearing, else the hold itself."""
    here = [form.kind for form in card.forms.get(place.number, ())]
    own = (
        each for each in card.done.places if None in (place.position, each.position) or each.position == place.position
    )
    found = next((each for each in own if (each.step["record"] or {}).get("kind") == kind), None)
    return place if kind in here or found is None else found


def _place_of_reading(card: CardPage, row: Any) -> Place | None:
    """Return where a reading was taken: the step that it names, else the one that asks for its kind."""
    own = [each for each in card.done.places if each.position in (None, row.position)]
    named = next((each for each in own if each.step["id"] == row.step), None)
    asks = (each for each in own if (each.step["record"] or {}).get("kind") == row.kind)
    return named or next(asks, None)


def steps_screen(card: CardPage) -> str:
    """Return all steps by phase."""
    phases = [
        (phase["title"], [each for each in card.done.places if each.step["phase"] == phase["id"]])
        for phase in card.plan["phases"]
    ]
    return card.screen("steps", phases=phases)


def numbers_screen(card: CardPage) -> str:
    """Return the six numbers of each bearing."""
    return card.screen("numbers", strips=strips(card.plan, card.done, card.figures, card.initial_rows()))


def questions_screen(card: CardPage, sent_at: str | None = None) -> str:
    """Return what is not known."""
    return card.screen("questions", questions=open_questions(card.plan), sent_at=_clock(sent_at))


def _clock(sent_at: str | None) -> str | None:
    """Return an hour and minute out of an address, None for anything else."""
    return sent_at if sent_at is not None and len(sent_at) == 5 else None


def question_of(card: CardPage, question: str, position: str | None) -> OpenQuestion:
    """Return an open question.

    Raises
    ------
    NotFound
        The card asks no such question, or it was answered.
    """
    found = (each for each in open_questions(card.plan) if (each.id, each.position) == (question, position))
    asked = next(found, None)
    if asked is None:
        raise NotFound("the card asks no such question any more")
    return asked


def answer_screen(
    card: CardPage,
    question: OpenQuestion,
    *,
    nonce: str | None = None,
    sent: Mapping[str, str] | None = None,
    fault: str | None = None,
) -> str:
    """Return the form of an answer."""
    places = places_of(question.id, names=names_of(card.plan), sides=sides_of(card.plan), metric=card.units == "metric")
    at = (each for each in card.done.places if each.step["id"] == question.step)
    where = next((each for each in at if question.position in (None, each.position) or each.position is None), None)
    return card.screen("answer", question=question, places=places, asked_at=where, nonce=nonce, sent=sent, fault=fault)


def ask_screen(
    card: CardPage,
    place: Place,
    *,
    nonce: str | None = None,
    sent: Mapping[str, str] | None = None,
    fault: str | None = None,
    sent_at: str | None = None,
) -> str:
    """Return the form of a question."""
    said = _clock(sent_at)
    return card.screen(
        "ask", place=place, nonce=nonce, sent=sent, fault=fault, sent_at=said, **_photos(card, place.position)
    )


def deviation_screen(
    card: CardPage,
    place: Place,
    *,
    nonce: str | None = None,
    sent: Mapping[str, str] | None = None,
    fault: str | None = None,
) -> str:
    """Return the form of a deviation; only holds and STOPs have one.

    Raises
    ------
    NotFound
        The step is no hold.
    """
    if place.step["hold"] is None and place.step["stop"] is None:
        raise NotFound("a line without a hold needs no deviation")
    return card.screen("deviation", place=place, nonce=nonce, sent=sent, fault=fault)


def lines_of(card: CardPage, position: str) -> tuple[Line, ...]:
    """Return the lines of the as-found form of a position."""
    bolt = next((each.get("bolt") for each in card.plan["bolting"] if each["position"] == position), None)
    return found_lines(metric=card.units == "metric", bolts=(bolt or {}).get("count") or 2, sides=sides_of(card.plan))


def found_screen(
    card: CardPage,
    position: str,
    *,
    nonce: str | None = None,
    sent: Mapping[str, str] | None = None,
    fault: str | None = None,
    sent_at: str | None = None,
) -> str:
    """Return the as-found form of a position."""
    own = [row for row in card.shown.found if row.position == position]
    warned = found_warnings(card.plan, own[-1]) if own and sent_at else []
    return card.screen(
        "as_found",
        position=position,
        role=next((each.role for each in card.done.places if each.position == position), None),
        parts=found_parts(lines_of(card, position)),
        before=f"{own[-1].document['taken_by']}, {own[-1].created_at:%Y-%m-%d %H:%M} UTC" if own else None,
        nonce=nonce,
        sent=sent,
        fault=fault,
        sent_at=_clock(sent_at),
        warnings=[card.figures.line(each["detail"]) for each in warned],
        **_photos(card, position),
    )


def _photos(card: CardPage, position: str | None) -> dict[str, Any]:
    """Return what the form of a photo needs."""
    folder = current_app.extensions["capsaddle"].settings.photo_folder
    own = [each for each in card.shown.photos if each.position == position]
    taken = folder is not None and card.shown.takes_photos and card.shown.order.status == "open"
    abouts = [(word, word.replace("_", " ")) for word in PHOTO_SUBJECTS]
    return {"photos": taken, "photo_position": position, "photos_sent": own, "abouts": abouts}


def not_taken(card: CardPage, fault: str) -> str:
    """Return why something was not taken or is not there."""
    return card.screen("not_taken", fault=fault)


def all_screens(card: CardPage) -> dict[str, str]:
    """Return every screen of a card by its path below it, as a phone keeps them: without the number of a form."""
    return dict(_screens(card))


def _screens(card: CardPage) -> Iterator[tuple[str, str]]:
    yield "", overview_screen(card)
    yield "/steps", steps_screen(card)
    yield "/numbers", numbers_screen(card)
    yield "/questions", questions_screen(card)
    yield "/unsent", card.screen("unsent")
    for place in card.done.places:
        yield place.path, step_of_card(card, place)
        for form in card.forms.get(place.number, ())[1:]:
            yield f"{place.path}?kind={form.kind}", step_of_card(card, place, kind=form.kind)
        yield f"/ask{place.path[5:]}", ask_screen(card, place)
    for question in open_questions(card.plan):
        yield question.path, answer_screen(card, question)
    for each in card.plan["bolting"]:
        yield f"/as-found/{quote(each['position'], safe='')}", found_screen(card, each["position"])


def answer_of(card: CardPage, what: str, made: str, fields: Mapping[str, list[str]]) -> dict[str, Any]:
    """Return what the script is told of what it sent: the verdict in words, and the page that shows it."""
    revision = card.shown.revision.number
    step, position = ((fields.get(name) or [""])[0] for name in ("step", "position"))
    place = next(
        (each for each in card.done.places if each.step["id"] == step and each.position == (position or None)), None
    )
    below = "" if place is None else place.path.removeprefix("/step/")
    if what == "reading":
        row = next(each for each in card.shown.readings if each.id == made)
        result = card.result(row)
        return {
            "said": result.said(),
            "detail": result.detail,
            "revision": revision,
            "page": f"{card.base}{after_reading(card, made)}",
        }
    now = f"{datetime.now(UTC):%H:%M}"
    paths = {
        "as_found": f"/as-found/{quote(position, safe='')}?sent={now}",
        "ask": f"/ask/{below}?sent={now}" if below else "",
        "deviation": f"/step/{below}" if below else "",
        "answer": f"/questions?sent={now}",
    }
    return {"revision": revision, "page": f"{card.base}{paths[what]}"}
