"""Keyset pages: opaque cursors bound to their list, filters and site; never an offset, never a total."""

import base64
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any
from urllib.parse import urlencode

from flask import current_app, request

from service.api.http.problems import ProblemRaised
from service.store.identity import canonical_id

_CHECK_BYTES = 6


def after(query: Mapping[str, Any], site_id: str) -> str | None:
    """Return the id behind which the page begins, or None for the first page.

    Raises
    ------
    ProblemRaised
        ``bad_cursor``: made up, altered, or of another list, filter or site.
    """
    cursor = query.get("cursor")
    if cursor is None:
        return None
    try:
        data = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4))
        payload, check = data[:-_CHECK_BYTES], data[-_CHECK_BYTES:]
        if check != _check(payload, query, site_id):
            raise ValueError
        key = payload.decode("ascii")
        if canonical_id(key) is None:  # the check bytes are no secret
            raise ValueError
        return key
    except ValueError:
        raise ProblemRaised(
            "bad_cursor",
            "the cursor was not given out for this list with these filters; begin again without it",
            faults=[{"parameter": "cursor", "code": "bad_cursor", "detail": "not of this list"}],
        ) from None


def page(
    items: Sequence[dict[str, Any]], query: Mapping[str, Any], site_id: str, *, key: str = "id"
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return the body and headers of a page.

    Parameters
    ----------
    items : sequence of dict
        In the order of their ids; one more than ``limit`` when there is a next page.
    key : str
        The member that is their id.
    """
    limit = query["limit"]
    if len(items) <= limit:
        return {"items": list(items), "next": None}, {}
    payload = items[limit - 1][key].encode("ascii")
    cursor = base64.urlsafe_b64encode(payload + _check(payload, query, site_id)).decode().rstrip("=")
    kept = [(name, value) for name, value in request.args.items() if name != "cursor"]
    url = f"{current_app.config['PUBLIC_URL']}{request.path}?{urlencode([*kept, ('cursor', cursor)])}"
    return {"items": list(items[:limit]), "next": url}, {"Link": f'<{url}>; rel="next"'}


def _check(payload: bytes, query: Mapping[str, Any], site_id: str) -> bytes:
    """Return the check bytes over the key, the filters, the list and the site."""
    filters = sorted((name, str(value)) for name, value in query.items() if name not in ("cursor", "limit", "units"))
    return sha256(payload + repr((request.path, site_id, filters)).encode()).digest()[:_CHECK_BYTES]
