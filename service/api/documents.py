"""From loaded request documents, and from the books on record, to the objects of the domain."""

from collections.abc import Mapping, Sequence

from service.api.operations import Call
from service.instructions.books import SiteBooks
from service.mounting.blades import INCH_SET, METRIC_SET, BladeSet
from service.mounting.blades import blade_set as own_blade_set
from service.mounting.clearance import Measured
from service.store.books import books_in_force

USUAL_SETS = {"inch": INCH_SET, "metric": METRIC_SET}


def blade_set(given: str | list[tuple[int, str]]) -> BladeSet:
    """Return the blade set of its name or of its blades."""
    if isinstance(given, str):
        return USUAL_SETS[given]
    return own_blade_set(given)


def measured(given: int | list[int] | Mapping[str, list[list[int]]] | None) -> Measured | None:
    """Return the readings by row of rollers: one reading, repeats of one, or rows of repeats."""
    if given is None:
        return None
    if isinstance(given, Mapping):
        return Measured(tuple(tuple(row) for row in given["rows"]))
    return Measured((tuple(given) if isinstance(given, list) else (given,),))


def site_books(call: Call, kinds: Sequence[str]) -> SiteBooks:
    """Return the caller's books of these kinds that are in force, read for this request."""
    with call.reading() as tx:
        return books_in_force(tx, kinds)
