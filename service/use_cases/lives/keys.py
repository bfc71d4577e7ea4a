"""By what stays may be grouped, filtered and regressed: one table each. A new fact of a stay is added here, and in
``store.queries.histories.COLUMNS``, and every question can be asked by it. No numbers are made here: the API reads the
tables before numpy is loaded.
"""

import operator
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from service.history.attributes import PREFIX
from service.store.identity import canonical_id
from service.store.queries.histories import Place
from service.words import AttributeType

DAMAGE: Final = "damage"
WINDOW: Final = ("residual_nm", "window_min_nm", "window_max_nm")
SHAFT: Final = ("shaft_nm", "shaft_min_nm", "shaft_max_nm")
Made = Literal["words", "window", "month", "quarter", "year"]
How = Literal["kind", "number", "window", "fit", "deviations", "season"]


@dataclass(frozen=True, slots=True)
class Key:
    """By what to group or to filter.

    ``column``: of words, see ``histories.COLUMNS``. ``of_place``: what a position is called by it, where the column is
    the position. ``numbers``: columns of numbers that ``made`` makes groups of. ``fits``: does a word pass a filter?
    """

    column: str = ""
    of_place: Callable[[Place], str] | None = None
    numbers: tuple[str, ...] = ()
    made: Made = "words"
    fits: Callable[[Any, Any], bool] = operator.eq


@dataclass(frozen=True, slots=True)
class Fact:
    """What a regression may ask about.

    ``how``: kinds of a column of words, a number with the ``step`` that its ratio is stated for, or one of the places
    that are made from several numbers.
    """

    how: How
    column: str = ""
    numbers: tuple[str, ...] = ()
    step: float = 1.0
    unit: str = ""


def _begins(word: Any, wanted: Any) -> bool:
    return isinstance(word, str) and word.startswith(wanted)


def _same_id(word: Any, wanted: Any) -> bool:
    return isinstance(word, str) and word.replace("-", "") == wanted.replace("-", "").lower()


KEYS: Final[dict[str, Key]] = {
    "position": Key("position", lambda place: place.label),
    "shaft": Key("position", lambda place: f"{place.asset} / {place.shaft}"),
    "asset": Key("position", lambda place: place.asset),
    "designation": Key("designation"),
    "manufacturer": Key("manufacturer"),
    "installer": Key("installed_by"),
    "lubricant": Key("lubricant"),
    "batch": Key("batch"),
    "work_order": Key("work_order"),
    "role": Key("role"),
    "housing": Key("housing"),
    "window": Key(numbers=WINDOW, made="window"),
    "fitted_month": Key(made="month"),
    "fitted_quarter": Key(made="quarter"),
    "fitted_year": Key(made="year"),
}
DATES: Final = ("fitted_month", "fitted_quarter", "fitted_year")
KNOWN_AT_REMOVAL: Final[dict[str, Key]] = {"cause": Key("cause")}
"""What describes lives and compares none: a bearing that runs has none yet, so those that have one look short-lived."""
CLASSES: Final = ("designation", "housing", "role", "manufacturer", "lubricant")
"""What may part the classes within which lives are compared; the designation always does."""
FILTERS: Final[dict[str, Key]] = {
    "asset": Key("position", lambda place: place.asset),
    "position": Key("position", lambda place: place.name),
    "designation": Key("designation"),
    "manufacturer": Key("manufacturer"),
    "role": Key("role"),
    "housing": Key("housing"),
    "installer": Key("installed_by"),
    "lubricant": Key("lubricant"),
    "batch": Key("batch"),
    "cause": Key("cause"),
    "serial_prefix": Key("serial", fits=_begins),
    "work_order": Key("work_order_number"),
}
"""What is shown of an answer whose numbers are of the whole site; from and to are dates of fitting."""
COVARIATES: Final[dict[str, Fact]] = {
    "residual_clearance": Fact("window", numbers=WINDOW),
    "fit": Fact("fit", numbers=SHAFT),
    "deviations": Fact("deviations", numbers=("deviations",)),
    "manufacturer": Fact("kind", "manufacturer"),
    "installer": Fact("kind", "installed_by"),
    "lubricant": Fact("kind", "lubricant"),
    "batch": Fact("kind", "batch"),
    "speed": Fact("number", numbers=("speed_rpm",), step=100, unit="rpm"),
    "temperature": Fact("number", numbers=("temperature_degc",), step=10, unit="degC"),
    "radial_load": Fact("number", numbers=("radial_load_n",), step=1000, unit="N"),
    "role": Fact("kind", "role"),
    "housing": Fact("kind", "housing"),
    "month_of_year": Fact("season"),
}


def key_of(name: str) -> Key:
    """Return the key of a name, ``attributes.NAME`` among them."""
    if name.startswith(PREFIX):
        return Key(name)
    return KEYS.get(name) or KNOWN_AT_REMOVAL[name]


def fact_of(name: str, types: Mapping[str, AttributeType]) -> Fact:
    """Return the fact of a name; an attribute that is a number is one here too. ``types`` are those of the site."""
    if not name.startswith(PREFIX):
        return COVARIATES[name]
    number = types.get(name.removeprefix(PREFIX)) == "number"
    return Fact("number", numbers=(name,)) if number else Fact("kind", name)


def filters_of(query: Mapping[str, Any]) -> list[tuple[Key, Any]]:
    """Return the keys that a query filters by, each with what is wanted of it."""
    found = [(key, query[name]) for name, key in FILTERS.items() if query.get(name) is not None]
    if canonical_id(query.get("work_order") or "") is not None:
        found = [(key, wanted) for key, wanted in found if key is not FILTERS["work_order"]]
        found.append((Key("work_order_id", fits=_same_id), query["work_order"]))
    return found


def columns_of(keys: Iterable[Key | Fact]) -> dict[str, tuple[str, ...]]:
    """Return the columns of numbers and of words that keys are read from, as ``data.history`` takes them."""
    listed = list(keys)
    return {
        "numbers": tuple(dict.fromkeys(name for key in listed for name in key.numbers)),
        "words": tuple(dict.fromkeys(key.column for key in listed if key.column)),
    }


def classes_of(class_by: Iterable[str]) -> tuple[str, ...]:
    """Return what makes a class: the designation, and what is added to it."""
    return tuple(dict.fromkeys(("designation", *class_by)))
