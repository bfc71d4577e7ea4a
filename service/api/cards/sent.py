"""What the script of the page sends, held to its shape."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import Request

from service.api.cards.entering import WHAT, Entered, is_uuid, taken_moment
from service.api.cards.forms import NotTyped
from service.exchange import strict_json
from service.exchange.media import JSON

MOST_FIELDS: Final = 200


def document_sent(asked: Request) -> Mapping[str, Any]:
    """Return the JSON document that the script of the page sent."""
    if asked.mimetype != JSON:
        raise NotTyped("this is sent by the page itself only")
    try:
        loaded = strict_json.parsed(asked.get_data())
    except strict_json.NotStrictJSON:
        raise NotTyped("this is sent by the page itself only") from None
    if not isinstance(loaded, dict):
        raise NotTyped("this is sent by the page itself only")
    return loaded


def entry_sent(document: Mapping[str, Any]) -> Entered:
    """Return what the script sent, held to its shape."""
    what, fields, sent_as = (document.get(name) for name in ("what", "fields", "id"))
    if set(document) != {"id", "what", "fields", "taken", "now", "held"} or what not in WHAT:
        raise NotTyped("this is sent by the page itself only")
    if not is_uuid(sent_as) or not isinstance(document["held"], bool) or not _are_fields(fields):
        raise NotTyped("this is sent by the page itself only")
    times = (document["taken"], document["now"])
    if not all(type(each) is int and 0 < each < 1e14 for each in times):
        raise NotTyped("the time of the reading cannot be read")
    return Entered(what, fields, sent_as, taken_moment(*times), document["held"])  # type: ignore[arg-type]


def _are_fields(value: Any) -> bool:
    """Return whether a value is names with lists of texts, as a form has them."""
    if not isinstance(value, dict) or len(value) > MOST_FIELDS:
        return False
    lists: Sequence[Any] = list(value.values())
    return all(isinstance(each, list) and 0 < len(each) <= 40 for each in lists) and all(
        isinstance(text, str) and "\0" not in text for each in lists for text in each
    )
