"""From loaded request documents, and from the books on record, to the objects of the domain."""

from collections.abc import Mapping, Sequence
from typing import Any

from flask import current_app

from service.api.http.operations import Call
from service.instructions.books.books import SiteBooks
from service.mounting.clearance import Measured
from service.mounting.readings import thin_ring_clearance
from service.store.queries.books import Shelf


def measured(given: int | list[int] | Mapping[str, Any] | None) -> Measured | None:
    """Return the readings by row of rollers: one reading, repeats of one, rows of repeats, or those of a thin ring."""
    if given is None:
        return None
    if isinstance(given, Mapping) and "thin_ring" in given:
        ring = given["thin_ring"]
        clearance_nm = thin_ring_clearance(
            nine_o_clock_nm=ring["nine_o_clock"],
            three_o_clock_nm=ring["three_o_clock"],
            vertical_nm=ring["vertical"],
        )
        return Measured(((round(clearance_nm),),))
    if isinstance(given, Mapping):
        return Measured(tuple(tuple(row) for row in given["rows"]))
    return Measured((tuple(given) if isinstance(given, list) else (given,),))


def site_books(call: Call, kinds: Sequence[str]) -> SiteBooks:
    """Return the caller's books of these kinds that are in force, read again when one was entered since."""
    shelf: Shelf = current_app.extensions["capsaddle"].shelf
    return shelf.books(call.caller.site_id, call.caller.books_version, kinds)
