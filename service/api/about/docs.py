"""/ and /docs: what a newcomer and an integrator read, open to all, without script or outside asset."""

import json
from functools import cache
from hashlib import sha256
from typing import Any, Final

from flask import Blueprint, Response, current_app

from service import __version__
from service.api.http import versions
from service.api.http.media import best_media
from service.api.http.operations import DECLARED
from service.api.http.problems import CATALOGUE
from service.errors import NotFound
from service.exchange.media import JSON
from service.exchange.strict_json import written
from service.render import docs

HTML: Final = "text/html"
LINKS: Final = {
    "documentation": "/docs",
    "contract": "/openapi.json",
    "capabilities": "/v1/capabilities",
    "ready": "/health/ready",
}
blueprint = Blueprint("docs", __name__)
DECLARED.open_endpoints |= {"docs.home", "docs.start", "docs.moved", "docs.page"}


@blueprint.get("/", provide_automatic_options=False)
def home() -> Response:
    """What this is and where to go on: a page for a browser, JSON with links for others."""
    if best_media((JSON, HTML)) == HTML:
        return _answer(docs.home_page(__version__), {"Vary": "Accept"})
    base = current_app.config["PUBLIC_URL"]
    links = {name: base + path for name, path in LINKS.items()}
    body: dict[str, Any] = {"name": "Cap and Saddle", "version": __version__, **links}
    return Response(written(body), content_type=JSON, headers={"Vary": "Accept"})


@blueprint.get("/docs", provide_automatic_options=False)
def start() -> Response:
    """Where to begin."""
    return _page("")


@blueprint.get("/docs/", provide_automatic_options=False)
def moved() -> Response:
    """The documentation has one address."""
    return Response(status=308, headers={"Location": current_app.config["PUBLIC_URL"] + "/docs"})


@blueprint.get("/docs/<name>", provide_automatic_options=False)
def page(name: str) -> Response:
    """One page of the documentation."""
    if name not in docs.PAGES:
        raise NotFound("the documentation has no such page; /docs has its contents")
    return _page(name)


def _page(name: str) -> Response:
    needed = name in docs.NEEDING_THE_CONTRACT
    return _answer(_written(name, current_app.extensions["capsaddle"].openapi if needed else ""))


@cache
def _written(name: str, document: str) -> str:
    """Return a page, written once per process; ``document``: the OpenAPI document, for the pages that show it."""
    return docs.page(name, docs.Known(CATALOGUE, lambda: json.loads(document)))


def _answer(body: str, more: dict[str, str] | None = None) -> Response:
    tag = f'"{sha256(body.encode()).hexdigest()[:16]}"'
    headers = {
        "Content-Security-Policy": docs.policy(),
        "Referrer-Policy": "no-referrer",
        "Cache-Control": "no-cache",
        "ETag": tag,
        **(more or {}),
    }
    if versions.not_modified(tag):
        return Response(status=304, headers=headers)
    return Response(body, content_type=f"{HTML}; charset=utf-8", headers=headers)
