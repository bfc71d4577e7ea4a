"""What a path names: a row of the site, or nothing. Every query reads its id by ``store.identity.canonical_id``."""

from typing import TypeVar

from service.errors import NotFound

Row = TypeVar("Row")


def found(row: Row | None, what: str) -> Row:
    """Return the row that a query found by the id in a path.

    Raises
    ------
    NotFound
        It found none; ``what`` the site has none of.
    """
    if row is None:
        raise NotFound(f"no {what} of this site has this id")
    return row
