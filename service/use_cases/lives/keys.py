"""By what stays may be grouped, filtered and regressed: one table each. A new fact of a stay is added here, and in
``store.queries.histories.COLUMNS``, and every question can be asked by it. No numbers are made here: the API reads the
tables before numpy is loaded.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Literal

from service.store.queries.histories import Place

DAMAGE: Final = "damage"
WINDOW: Final = ("residual_nm", "window_min_nm", "window_max_nm")
SHAFT: Final = ("shaft_nm", "shaft_min_nm", "shaft_max_nm")
Made = Literal["words", "window", "month", "quarter", "year"]
How = Literal["kind", "number", "window", "fit", "deviations", "season"]


@dataclass(frozen=True, slots=True)
class Key:
    """By what to group or to filter.

    ``column``: of words, see ``histories.COLUMNS``. ``of_place``: what a position is called by it, where the column is
    the position. ``numbers``: columns of numbers that ``made`` makes groups of.
    """

    column: str = ""
    of_place: Callable[[Place], str] | None = None
    numbers: tuple[str, ...] = ()
    made: Made = "words"


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


KEYS: Final[dict[str, Key]] = {
    "position": Key("position", lambda place: place.label),
    "shaft": Key("position", lambda place: f"{place.asset} / {place.shaft}"),
    "asset": Key("position", lambda place: place.asset),
    "designation": Key("designation"),
    "manufacturer": Key("manufacturer"),
    "installer": Key("installed_by"),
    "work_order": Key("work_order"),
    "role": Key("role"),
    "housing": Key("housing"),
    "window": Key(numbers=WINDOW, made="window"),
    "fitted_month": Key(made="month"),
    "fitted_quarter": Key(made="quarter"),
    "fitted_year": Key(made="year"),
}
DATES: Final = ("fitted_month", "fitted_quarter", "fitted_year")
CLASSES: Final = ("designation", "housing", "role", "manufacturer")
"""What may part the classes within which lives are compared; the designation always does."""
FILTERS: Final[dict[str, Key]] = {
    "asset": Key("position", lambda place: place.asset),
    "position": Key("position", lambda place: place.name),
    "designation": Key("designation"),
    "manufacturer": Key("manufacturer"),
    "role": Key("role"),
    "housing": Key("housing"),
}
"""What is shown of an answer whose numbers are of the whole site; from and to are dates of fitting."""
COVARIATES: Final[dict[str, Fact]] = {
    "residual_clearance": Fact("window", numbers=WINDOW),
    "fit": Fact("fit", numbers=SHAFT),
    "deviations": Fact("deviations", numbers=("deviations",)),
    "manufacturer": Fact("kind", "manufacturer"),
    "installer": Fact("kind", "installed_by"),
    "role": Fact("kind", "role"),
    "housing": Fact("kind", "housing"),
    "month_of_year": Fact("season"),
}


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
