"""What a path names: a row of the site, or nothing. Every query reads its id by ``store.identity.canonical_id``."""

from typing import Final, TypeVar

from service.errors import NotFound, shown
from service.store.identity import canonical_id

Row = TypeVar("Row")
LISTS: Final = {
    "work order": "GET /v1/work-orders lists them",
    "asset": "GET /v1/assets lists them",
    "machine": "GET /v1/assets lists them",
    "position": "GET /v1/assets lists them with their positions",
    "subscription": "GET /v1/subscriptions lists them",
    "field map": "GET /v1/field-maps lists them",
    "import profile": "GET /v1/import-profiles lists them",
    "stay": "GET /v1/stays lists them",
}
"""Where an id is to be had"""
BY_NAME: Final = {
    "work order": "GET /v1/work-orders?number= finds one by its number outside",
    "asset": "GET /v1/assets?tag= finds one by its tag",
    "machine": "GET /v1/assets?tag= finds one by its tag",
    "field map": "GET /v1/field-maps?name= finds one by its name",
    "import profile": "GET /v1/import-profiles?name= finds one by its name",
    "stay": "GET /v1/stays lists them, by asset, position and more",
}
"""How what has a name outside is found by it"""


def found(row: Row | None, what: str, given: str | None = None) -> Row:
    """Return the row that a query found by the id in a path.

    Parameters
    ----------
    given : str or None
        What the path had for an id.

    Raises
    ------
    NotFound
        It found none; ``what`` the site has none of.
    """
    if row is None:
        said = f"no {what} of this site has this id"
        if given is not None and canonical_id(given) is None:
            way_out = BY_NAME.get(what, LISTS.get(what, ""))
            raise NotFound(f"{shown(given)} is no id: an id is a UUID; {way_out}")
        raise NotFound(f"{said}; {LISTS[what]}" if what in LISTS else said)
    return row
