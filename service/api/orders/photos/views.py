"""/v1/work-orders/{id}/photos: what was found, the mark of the load, damage; kept as files named by their hash."""

from typing import Any

from flask import Response, current_app

from service.api.http import lists
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import UnitsQuery
from service.api.orders.photos.schemas import PhotoPage, PhotoQuery, PhotoRead, PhotosQuery
from service.exchange.photos import MOST_BYTES
from service.moments import rfc3339
from service.store.queries import photos
from service.store.queries.photos import PhotoRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.held import order_of
from service.use_cases.orders.photos import add_photo, photo_data, photo_of

blueprint = Blueprint("photos", __name__, url_prefix="/v1/work-orders", description="Photos of a job")
JPEG = "image/jpeg"
PNG = "image/png"


def photo_record(row: PhotoRow) -> dict[str, Any]:
    """Return the wire members."""
    names = ("id", "about", "position", "sha256", "bytes", "width", "height", "taken_by")
    times = {"taken_at": rfc3339(row.taken_at), "created_at": rfc3339(row.created_at)}
    return {name: getattr(row, name) for name in names} | times


def photo_answer(row: PhotoRow, data: bytes) -> Response:
    """Answer a photo: nothing but a picture, whatever a browser would like to make of it."""
    headers = {
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Content-Disposition": f'inline; filename="{row.id}.jpg"',
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "private, no-store",
    }
    return Response(data, content_type=JPEG, headers=headers)


@blueprint.operation(
    "POST",
    "/<order_id>/photos",
    scope="write",
    query=PhotoQuery,
    raw={JPEG: "(the bytes of a JPEG)", PNG: "(the bytes of a PNG)"},
    most_bytes=MOST_BYTES,
    answers={201: Answer(PhotoRead, "The photo is kept", headers=("Location",))},
    refuses=("409",),
)
def add_order_photo(call: Call, order_id: str) -> Response:
    """Keep a photo of a job"""
    photo = photo_of(call.body)
    folder = current_app.extensions["capsaddle"].settings.photo_folder
    names = ("about", "position", "taken_by", "taken_at")
    given = {name: call.query[name] for name in names if name in call.query}

    def work(tx: Tx) -> Written:
        row, events = add_photo(tx, order_id, photo, given, folder=folder)
        location = {"Location": f"{current_app.config['PUBLIC_URL']}/v1/work-orders/{order_id}/photos/{row.id}"}
        return Written(201, call.json(photo_record(row)), location, events)

    return call.write(work)


@blueprint.operation(
    "GET",
    "/<order_id>/photos",
    scope="read",
    query=PhotosQuery,
    answers={200: Answer(PhotoPage, "The photos of the order", headers=("Link",))},
)
def list_photos(call: Call, order_id: str) -> Response:
    """List the photos of a work order"""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        order = order_of(tx, order_id)
        items = [photo_record(row) for row in photos.photos_of(tx, order.id, after=start, limit=limit)]
    body, headers = lists.page(items, call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<order_id>/photos/<photo_id>",
    scope="read",
    query=UnitsQuery,
    answers={200: Answer(None, "The photo", media=(JPEG,))},
)
def read_photo(call: Call, order_id: str, photo_id: str) -> Response:
    """Read a photo"""
    folder = current_app.extensions["capsaddle"].settings.photo_folder
    with call.reading() as tx:
        row, data = photo_data(tx, order_id, photo_id, folder=folder)
    return photo_answer(row, data)
