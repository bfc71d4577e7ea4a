"""Photos of a job: made anew, kept as files named by their hash, the hash in the journal."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from service.errors import CannotEvaluate, Conflict, NotFound
from service.exchange.photos import NotAPhoto, Photo, photo_made_anew
from service.settings import Settings
from service.store import photo_folder
from service.store.queries import photos
from service.store.queries.photos import PhotoRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.orders.held import hold_order, order_of

OFF = "photos_off"


def photo_of(data: bytes) -> Photo:
    """Return the photo that was sent, made anew.

    Raises
    ------
    CannotEvaluate
        ``not_a_photo``
    """
    try:
        return photo_made_anew(data)
    except NotAPhoto as error:
        raise CannotEvaluate(str(error), code="not_a_photo") from None


def add_photo(
    tx: Tx, order_id: str, photo: Photo, given: Mapping[str, Any], *, folder: Path | None
) -> tuple[PhotoRow, tuple[Event, ...]]:
    """Keep a photo of an open order; one that a phone sends again is found, not stored.

    Parameters
    ----------
    given : mapping
        about, position or None, taken_by, taken_at, sent_as or None
    folder : Path or None
        Where files lie; None where this service keeps none

    Raises
    ------
    NotFound
        The site has no such order.
    Conflict
        ``work_order_not_open``; ``photos_off``: the service or the site takes none.
    CannotEvaluate
        ``unknown_position``
    """
    at = hold_order(tx, order_id)
    if folder is None or not photos.takes_photos(tx):
        raise Conflict("photos are switched off here", code=OFF)
    known = [each["position"] for each in at.revision.record["bolting"]]
    if given.get("position") not in (None, *known):
        said = f"{given['position']!r} is not a position of this shaft; known are {', '.join(known)}"
        raise CannotEvaluate(said, code="unknown_position", field="position")
    sent_as = given.get("sent_as")
    before = [row for row in photos.photos_of(tx, at.order.id) if sent_as is not None and row.sent_as == sent_as]
    if before:
        return before[0], ()
    digest = photo_folder.kept(folder, tx.site_id, photo.data)
    row = photos.insert_photo(
        tx,
        work_order_id=at.order.id,
        about=given["about"],
        position=given.get("position"),
        sha256=digest,
        bytes=len(photo.data),
        width=photo.width,
        height=photo.height,
        taken_by=given["taken_by"],
        taken_at=given["taken_at"],
        sent_as=sent_as,
    )
    data = {"photo": row.id, "about": row.about, "position": row.position, "sha256": digest, "taken_by": row.taken_by}
    return row, (Event("photo.added", "work_order", at.order.id, None, digest, data),)


def photo_data(tx: Tx, order_id: str, photo_id: str, *, folder: Path | None) -> tuple[PhotoRow, bytes]:
    """Return a photo of an order with its bytes, held to the hash on record.

    Raises
    ------
    NotFound
        The order has no such photo, or its file is gone or changed.
    """
    row = photos.photo_by_id(tx, order_of(tx, order_id).id, photo_id)
    if row is None:
        raise NotFound("the order has no such photo")
    data = None if folder is None else photo_folder.read(folder, tx.site_id, row.sha256)
    if data is None:
        raise NotFound("the file of this photo is gone, or is not what was stored")
    return row, data


def are_taken(tx: Tx, settings: Settings) -> bool:
    """Return whether photos are taken for this site, [-]."""
    return settings.photo_folder is not None and photos.takes_photos(tx)
