"""Photos that are taken on the card: from the script of the page as bytes, from a form without script as its part."""

from collections.abc import Mapping
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any, Final
from urllib.parse import quote

from flask import Response, current_app, g, redirect, request

from service.api.cards.entering import is_uuid, taken_moment
from service.api.cards.forms import NotTyped
from service.api.cards.page import remember_name, root
from service.api.orders.photos.views import JPEG, PNG, photo_answer
from service.exchange import strict_json
from service.exchange.photos import MOST_BYTES
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.links import CardLink
from service.use_cases.orders.photos import add_photo, photo_data, photo_of
from service.words import PHOTO_SUBJECTS

MULTIPART: Final = "multipart/form-data"
_FROM_SCRIPT: Final = {"id", "taken", "now", "about", "position", "taken_by"}
_FROM_FORM: Final = {"about", "position", "taken_by", "nonce"}


def posted(link: CardLink, token: str) -> Response:
    """Keep the photo of this request.

    Raises
    ------
    NotTyped
        It is none, too large, or not said what it shows or by whom.
    ServiceError
        As the API refuses it.
    """
    base = f"{root()}/card/{token}"
    if request.mimetype in (JPEG, PNG):
        given = _checked(request.args.to_dict(), _FROM_SCRIPT)
        if not is_uuid(given.get("id")) or not (given.get("taken", "").isdigit() and given.get("now", "").isdigit()):
            raise NotTyped("this is sent by the page itself only")
        taken_at = taken_moment(int(given["taken"][:14]), int(given["now"][:14]))
        _keep(link, request.get_data(), given, sent_as=given["id"], taken_at=taken_at)
        return Response(strict_json.written({"page": _back(base, given)}), 201, content_type="application/json")
    if request.mimetype != MULTIPART:
        raise NotTyped("a photo is a JPEG or a PNG")
    given = _checked(request.form.to_dict(), _FROM_FORM)
    file = request.files.get("photo")
    data = b"" if file is None else file.read(MOST_BYTES + 1)
    _keep(link, data, given, sent_as=_once(given, data), taken_at=datetime.now(UTC))
    answer: Response = redirect(_back(base, given), code=303)  # type: ignore[assignment]
    remember_name(answer, base, given.get("taken_by", ""))
    return answer


def _checked(given: Mapping[str, str], known: set[str]) -> dict[str, str]:
    for name in given:
        if name not in known:
            raise NotTyped(f"{name[:40]} is not part of this form")
    return {name: value.strip() for name, value in given.items()}


def _once(given: Mapping[str, str], data: bytes) -> str | None:
    """Return what names a form that is sent twice."""
    return f"form {given['nonce'][:40]} {sha256(data).hexdigest()[:16]}" if given.get("nonce") else None


def _keep(link: CardLink, data: bytes, given: Mapping[str, str], *, sent_as: str | None, taken_at: datetime) -> None:
    if not data:
        raise NotTyped("take or choose a photo first")
    if len(data) > MOST_BYTES:
        raise NotTyped("the photo is larger than 8 MiB")
    name = " ".join(given.get("taken_by", "").split())
    if not name or len(name) > 80 or not name.isprintable():
        raise NotTyped("write your name: a photo names who took it")
    if given.get("about") not in PHOTO_SUBJECTS:
        raise NotTyped("say what the photo shows")
    photo = photo_of(data)
    services = current_app.extensions["capsaddle"]
    members: dict[str, Any] = {"about": given["about"], "position": given.get("position") or None}
    members |= {"taken_by": name, "taken_at": taken_at, "sent_as": sent_as}

    def work(tx: Tx) -> Written:
        row, events = add_photo(tx, link.order_id, photo, members, folder=services.settings.photo_folder)
        return Written(201, row.id, {}, events)

    services.database.write(site_id=link.caller.site_id, actor=link.caller.key_id, request_id=g.request_id, work=work)


def _back(base: str, given: Mapping[str, str]) -> str:
    """Return the form of the bearing that the photo is of, else the overview."""
    position = given.get("position")
    return f"{base}/as-found/{quote(position, safe='')}" if position else base


def shown(link: CardLink, photo: str) -> Response:
    """Answer a photo of the order of a link.

    Raises
    ------
    NotFound
        The order has no such photo.
    """
    services = current_app.extensions["capsaddle"]
    with services.database.read(link.caller.site_id) as tx:
        row, data = photo_data(tx, link.order_id, photo, folder=services.settings.photo_folder)
    return photo_answer(row, data)
