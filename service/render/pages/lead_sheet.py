"""The lead's sheet in words: what to look at first, then every hold, what was let pass, what is still open."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.render.sections import NONE, TICK, Section, section_text

Review = Mapping[str, Any]


def lead_text(review: Review) -> str:
    """Return the lead's sheet as plain text.

    Parameters
    ----------
    review : record
        As ``use_cases.orders.review.review_of`` returns it
    """
    return section_text(f"LEAD'S SHEET: {review['external']['number']}, {review['asset']}", lead_sections(review))


def lead_sections(review: Review) -> Iterator[Section]:
    """Yield the sections in the order in which they are looked at."""
    titles = {each["step"]: f"HOLD {each['hold']} {each['title']}" for each in review["holds"]}
    if review["begun_unreleased"]:
        yield Section("Begun before it was released", ((TICK, "work was begun with a red question open"),))
    bulk = [(TICK, f"{each['person']}, from {_when(each['from'])}, within a minute: {_places(each, titles)}")
            for each in review["in_bulk"]]  # fmt: skip
    yield Section("Signed in one go", tuple(bulk) or NONE)
    order = [(TICK, f"{_named(each, titles)}, {each['person']}, {_when(each['taken_at'])}: before "
              f"{_named(each['after'], titles)}, {_when(each['after']['taken_at'])}")
             for each in review["out_of_order"]]  # fmt: skip
    yield Section("Out of order", tuple(order) or NONE)
    late = [(TICK, f"{_said(each['kind'])}{_at(each)}, {each['person']}, {_when(each['taken_at'])}: on record "
             f"{each['hours']:g} h later, {_when(each['received_at'])}") for each in review["late"]]  # fmt: skip
    yield Section("On record late", tuple(late) or NONE)
    yield Section("Deviations", tuple(_deviations(review, titles)) or NONE)
    yield Section("Readings taken back", tuple(_taken_back(review)) or NONE)
    yield Section("Still open", tuple(_open(review)) or NONE)
    yield Section("Holds", tuple(_holds(review)))


def _deviations(review: Review, titles: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for each in review["deviations"]:
        by = f", work by {each['taken_by']}" if each["taken_by"] else ""
        yield TICK, f"{_named(each, titles)}: {each['reason']} (approved by {each['approved_by']}{by})"


def _taken_back(review: Review) -> Iterator[tuple[str, str]]:
    for each in review["taken_back"]:
        why = _said(each["reason"] or "no reason")
        yield TICK, f"{_said(each['kind'])}{_at(each)} of {each['person']}: {why}, by {each['replaced_by']}"


def _open(review: Review) -> Iterator[tuple[str, str]]:
    for each in review["open_holds"]:
        name = f"STOP {each['stop']}" if each["stop"] is not None else f"HOLD {each['hold']}"
        yield TICK, f"{name}{_at(each)}: {each['title']}"
    for each in review["open_questions"]:
        yield TICK, f"{each['id']}{_at(each)} ({each['colour']}): {each['question']}"


def _holds(review: Review) -> Iterator[tuple[str, str]]:
    for each in review["holds"]:
        by = f"{each['person']}, {_when(each['taken_at'])}" if each["person"] else "nobody"
        said = {"signed": by, "deviation": f"let pass by a deviation; {by}", "open": f"OPEN; {by}"}[each["state"]]
        yield f"HOLD {each['hold']}", f"{each['title']}{_at(each)}: {said}"


def _places(bulk: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    return "; ".join(_named(each, titles) for each in bulk["holds"])


def _named(each: Mapping[str, Any], titles: Mapping[str, str]) -> str:
    return f"{titles.get(each['step'], each['step'])}{_at(each)}"


def _at(each: Mapping[str, Any]) -> str:
    return f" ({each['position']})" if each["position"] else ""


def _said(word: str) -> str:
    return word.replace("_", " ")


def _when(time: str) -> str:
    """Return a time to the minute, UTC."""
    return f"{time[:10]} {time[11:16]} UTC"
