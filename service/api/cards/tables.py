"""What comes with a step for a phone without a signal: the verdicts that are foreseen, and the blades to touch."""

from collections import OrderedDict
from typing import Any, Final

from service.api.cards.forms import Form
from service.api.cards.page import CardPage
from service.exchange import strict_json
from service.instructions.readings.foreseen import Situation
from service.instructions.readings.foreseen_line import foreseen_line, foreseen_words
from service.render.phone.line_table import line_record, words_record
from service.render.phone.places import Place
from service.render.phone.table import table_record
from service.words import CLEARANCE_READINGS

_TABLES: "OrderedDict[tuple[Any, ...], str | None]" = OrderedDict()
MOST_TABLES: Final = 1000


def table(card: CardPage, form: Form, place: Place) -> str | None:
    """Return the foreseen verdicts as JSON; made once for what was entered so far."""
    now = card.shown.situation
    if now is None:
        return None
    own = tuple(each.id for each in now.entries if each.position == place.position)
    key = (card.shown.revision.id, form.kind, place.number, place.position, card.units, own)
    if key not in _TABLES:
        found = _foreseen(card, form, place, now)
        _TABLES[key] = None if found is None else strict_json.written(found).replace("<", "\\u003c")
        while len(_TABLES) > MOST_TABLES:
            _TABLES.popitem(last=False)
    return _TABLES[key]


def _foreseen(card: CardPage, form: Form, place: Place, now: Situation) -> dict[str, Any] | None:
    """Return the table of a form: of blades by both rows, along a scale, or of its answers."""
    if form.confirms or form.words:
        answers = ("yes",) if form.confirms else tuple(word for word, _ in form.words)
        by_word = foreseen_words(form.kind, answers, place.step, place.position, now)
        return words_record(form.kind, by_word, card.figures) if by_word else None
    if form.kind not in CLEARANCE_READINGS:
        line = foreseen_line(form.kind, place.step, place.position, now)
        return None if line is None else line_record(line, card.figures)
    found = None if place.position is None else card.shown.table(form.kind, place.position)
    return None if found is None else table_record(found, now.blade_set, card.figures)


def blades(card: CardPage, form: Form | None) -> dict[str, Any]:
    """Return the blades in use by their stamps, for a form that they read."""
    now = card.shown.situation
    if now is None or form is None or form.kind not in CLEARANCE_READINGS:
        return {}
    given = now.blade_set.quantities(now.blade_set.blades_nm)
    unit = "in" if now.blade_set.system == "inch" else "mm"
    return {"blades": tuple(card.figures.number(each) for each in given), "blade_unit": unit}
