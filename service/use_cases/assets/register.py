"""The register of assets: entering one, replacing it, deleting it, each told in one event."""

from collections.abc import Callable, Mapping
from typing import Any

from service.errors import Conflict
from service.instructions.books.books import HOUSING
from service.instructions.plan.machine import names_housings, normalised_machine
from service.record import sha256
from service.reference.housings import Housing
from service.store.queries import assets
from service.store.queries.assets import AssetRow
from service.store.queries.books import books_in_force
from service.store.unit_of_work import Event, Tx
from service.use_cases.found import found

Document = dict[str, Any]


def asset_of(tx: Tx, asset_id: str) -> AssetRow:
    """Return the asset that a path names, or raise NotFound."""
    return found(assets.asset_by_id(tx, asset_id), "asset", asset_id)


def asset_document(row: AssetRow) -> Document:
    """Return the asset as documents and plans hold it."""
    return {"tag": row.tag, "name": row.name, "shafts": row.shafts}


def checked_asset(tx: Tx, given: Document) -> Document:
    """Return an asset as it was sent in the words of the record.

    Raises
    ------
    CannotEvaluate
        A bearing that cannot be read, a housing that is not known.
    """
    return normalised_machine(given, housings=_named_housings(tx, given))


def _named_housings(tx: Tx, document: Document) -> Mapping[str, Housing]:
    """Return the site's own housings by name when the asset names one."""
    return books_in_force(tx, (HOUSING,)).housings if names_housings(document) else {}


def register_new_asset(tx: Tx, document: Document, *, address: Callable[[str], str]) -> tuple[AssetRow, Event]:
    """Store an asset whose tag must be free, and return it with its event.

    Parameters
    ----------
    document
        From ``checked_asset``.
    address
        From the id of an asset to where it is read and changed, for who is refused.

    Raises
    ------
    Conflict
        ``asset_tag_taken``
    """
    taken = assets.asset_by_tag(tx, document["tag"])
    if taken is not None:
        detail = f"the tag {taken.tag} is on record for {taken.name}; change it with PUT {address(taken.id)}"
        raise Conflict(detail, code="asset_tag_taken", field="tag", existing=taken.id)
    return register_asset(tx, document)


def register_asset(tx: Tx, document: Document) -> tuple[AssetRow, Event]:
    """Store an asset that is not on record yet, and return it with its event."""
    row = assets.insert_asset(tx, document)
    return row, Event("asset.registered", "asset", row.id, None, sha256(asset_document(row)), {"tag": row.tag})


def replace_asset(
    tx: Tx, before: AssetRow, document: Document, *, version: int | None = None
) -> tuple[AssetRow, Event]:
    """Give an asset another document, and return it with its event; ``version`` None stands for any.

    Raises
    ------
    StaleVersion
        It was changed meanwhile.
    """
    row = assets.replace_asset(tx, before.id, version, document)
    hashes = sha256(asset_document(before)), sha256(asset_document(row))
    return row, Event("asset.replaced", "asset", row.id, *hashes, {"tag": row.tag, "version": row.version})


def replace_shafts(tx: Tx, before: AssetRow, shafts: list[Document]) -> tuple[AssetRow, Event]:
    """Give an asset other shafts, and return it with its event."""
    return replace_asset(tx, before, {**asset_document(before), "shafts": shafts})


def delete_asset(tx: Tx, before: AssetRow, *, version: int) -> Event:
    """Delete an asset on which nothing hangs, and return the event."""
    assets.delete_asset(tx, before.id, version)
    return Event("asset.deleted", "asset", before.id, sha256(asset_document(before)), None, {"tag": before.tag})
