"""/docs: what an integrator reads, served by the service itself, open to all, without script or outside asset."""

import json
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from typing import Final

from flask import Blueprint, Response, current_app

from service.api.http import versions
from service.api.http.operations import DECLARED
from service.api.http.problems import CATALOGUE
from service.errors import NotFound
from service.render import docs
from service.render.markup import content_policy

blueprint = Blueprint("docs", __name__)
DECLARED.open_endpoints |= {"docs.start", "docs.page"}


@cache
def _written(name: str, document: str) -> str:
    """Return a page, written once per process; ``document``: the OpenAPI document, for the page that shows it."""
    if name == "api":
        return docs.api_page(json.loads(document))
    return _PAGES[name]()


_PAGES: Final[dict[str, Callable[[], str]]] = {
    "": docs.start_page,
    "problems": lambda: docs.problems_page(CATALOGUE),
    "blocked": docs.blocked_page,
    "rules": docs.rules_page,
    "tables": docs.tables_page,
}


@blueprint.get("/docs", provide_automatic_options=False)
def start() -> Response:
    """Where to begin."""
    return _answer("")


@blueprint.get("/docs/<name>", provide_automatic_options=False)
def page(name: str) -> Response:
    """One page of the documentation."""
    if name != "api" and name not in _PAGES:
        raise NotFound("the documentation has no such page")
    return _answer(name)


def _answer(name: str) -> Response:
    document = current_app.extensions["capsaddle"].openapi if name == "api" else ""
    body = _written(name, document)
    tag = f'"{sha256(body.encode()).hexdigest()[:16]}"'
    headers = {
        "Content-Security-Policy": content_policy(docs.STYLE),
        "Referrer-Policy": "no-referrer",
        "Cache-Control": "no-cache",
        "ETag": tag,
    }
    if versions.not_modified(tag):
        return Response(status=304, headers=headers)
    return Response(body, content_type="text/html; charset=utf-8", headers=headers)
