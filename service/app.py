"""The composition root: settings in, a WSGI application out."""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final
from uuid import uuid4

from flask import Flask, Response, current_app, g, request
from werkzeug.routing import BaseConverter, Rule, UnicodeConverter

from service.api.about import capabilities, docs, health
from service.api.assets import views as assets
from service.api.assets.history import views as asset_history
from service.api.assets.meters import views as meters
from service.api.books.charts import views as charts
from service.api.books.housings import views as housings
from service.api.books.recalls import views as recalls
from service.api.calculations.arrangements import views as arrangements
from service.api.calculations.cap_bolts import views as cap_bolts
from service.api.calculations.clearance import batch as clearance
from service.api.cards import views as cards
from service.api.cards.links import views as card_links
from service.api.desk import views as desk
from service.api.events import views as events
from service.api.events.deliveries import views as subscriptions
from service.api.http import openapi, problems, watching
from service.api.http.operations import DECLARED
from service.api.lives.behind import views as lives
from service.api.maps import views as maps
from service.api.maps.inbound import views as inbound
from service.api.orders.batch import views as orders
from service.api.orders.completion import views as completion
from service.api.orders.entries import views as entries
from service.api.orders.instructions import pictures
from service.api.orders.instructions import views as instructions
from service.api.orders.photos import views as photos
from service.api.orders.planning import views as planning
from service.api.orders.readiness import views as readiness
from service.api.orders.review import views as review
from service.api.standards import views as standards
from service.api.stays.profiles import views as stays
from service.serving.allowance import Shared
from service.serving.fair_share import FairShare, Held
from service.serving.metrics import Metrics
from service.settings import Settings
from service.store.database import Database
from service.store.queries.books import Shelf
from service.store.queries.keys import Keyring
from service.store.queries.persons import Sites
from service.store.unit_of_work import Event

if TYPE_CHECKING:
    from service.exchange.tokens import Tokens

BLUEPRINTS: Final = (
    clearance.blueprint,
    arrangements.blueprint,
    cap_bolts.blueprint,
    assets.blueprint,
    asset_history.blueprint,
    housings.blueprint,
    charts.blueprint,
    recalls.blueprint,
    orders.blueprint,  # with the batch
    readiness.blueprint,
    planning.blueprint,
    entries.blueprint,
    completion.blueprint,
    photos.blueprint,
    review.blueprint,
    meters.blueprint,
    lives.blueprint,  # with the lives behind the answers
    stays.blueprint,  # with their import, its profiles, and attributes
    standards.blueprint,
    capabilities.blueprint,
    maps.blueprint,
    inbound.blueprint,
    subscriptions.blueprint,  # with their deliveries
    events.blueprint,
    pictures.blueprint,
    instructions.blueprint,
    card_links.blueprint,
)
BOOKS_CHANGED: Final = ("chart.entered", "housing.entered")
_REQUEST_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}").fullmatch


class OrderId(UnicodeConverter):
    """The id of a work order in a path: not the word ``batch``, which is a place of its own with methods of its own."""

    def __init__(self, map: Any) -> None:
        super().__init__(map)
        self.regex = r"(?!batch(?:/|$))[^/]{1,}"  # flask-smorest reads the bounds


class _Rule(Rule):
    def get_converter(self, variable_name: str, *given: Any) -> BaseConverter:
        return OrderId(self.map) if variable_name == "order_id" else super().get_converter(variable_name, *given)


class _App(Flask):
    url_rule_class = _Rule

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """Return the function: none of ours is a coroutine, so none is asked at each call whether it is."""
        return func


@dataclass
class Services:
    """What the views reach through the application: made once per process."""

    app: Flask
    settings: Settings
    database: Database
    keyring: Keyring
    shelf: Shelf
    shared: Shared
    token_sites: Sites
    share: FairShare | None = None
    """Who holds the threads; None where nobody knows how many there are."""

    @cached_property
    def metrics(self) -> Metrics | None:
        """Return the counters of this process, made by the process that counts; None when nobody asks for them."""
        return None if self.settings.metrics_bind is None else Metrics()

    @cached_property
    def tokens(self) -> "Tokens | None":
        """Return what reads the tokens of persons; None where no issuer is set, and then its library is not loaded."""
        if self.settings.token_issuer is None:
            return None
        from service.exchange.tokens import Tokens

        return Tokens(self.settings.token_issuer)

    def follow_commit(self, site_id: str, events: tuple[Event, ...]) -> None:
        """Count what was written, and read the site's books again when one was entered."""
        if any(event.type in BOOKS_CHANGED for event in events):
            self.keyring.forget(site_id)
            self.token_sites.forget()
        if self.metrics is not None:
            self.metrics.count(events)

    @cached_property
    def openapi(self) -> str:
        """Return the OpenAPI document, made when it is first asked for: starting must not wait for it."""
        return openapi.document(self.app, BLUEPRINTS)


def create_app(settings: Settings) -> Flask:
    """Return the application for these settings; it opens no database connection before the first request."""
    app = _App("service", static_folder=None)
    app.url_map.strict_slashes = True
    app.url_map.merge_slashes = False  # its redirect would be HTML, to an address made of the Host header
    app.config["MAX_CONTENT_LENGTH"] = settings.max_body_bytes
    app.config["PUBLIC_URL"] = (settings.public_url or "").rstrip("/")
    problems.register(app)
    for blueprint in (*BLUEPRINTS, health.blueprint, cards.blueprint, docs.blueprint, desk.blueprint):
        app.register_blueprint(blueprint)
    database = Database(settings)
    app.extensions["capsaddle"] = services = Services(
        app=app,
        settings=settings,
        database=database,
        keyring=Keyring(database, settings.key_cache_s),
        shelf=Shelf(database),
        shared=Shared(),
        token_sites=Sites(database, settings.key_cache_s),
    )
    database.tell_of_commits(services.follow_commit)
    app.before_request(_begin)
    app.after_request(_end)
    app.teardown_request(_give_back)
    return app


def _begin() -> Response | None:
    """Give the request its id, and deny every route that declares no scope."""
    g.began = time.perf_counter()
    share: FairShare | None = current_app.extensions["capsaddle"].share
    g.held = None if share is None else share.begin()
    given = request.headers.get("X-Request-ID", "")
    g.request_id = given if _REQUEST_ID(given) else uuid4().hex
    if "HTTP_HOST" not in request.environ and request.environ.get("SERVER_PROTOCOL") == "HTTP/1.1":
        return problems.problem("bad_request", "HTTP/1.1 asks for the header field Host (RFC 9112, 3.2)")
    endpoint = request.endpoint
    if endpoint is None or endpoint in DECLARED.operations or endpoint in DECLARED.open_endpoints:
        return None
    return problems.problem("scope_missing", "this route declares no scope and is denied to everybody")


def _end(response: Response) -> Response:
    response.headers["X-Request-ID"] = g.get("request_id", "")
    response.headers.setdefault("Cache-Control", "no-store")
    response.headers["X-Content-Type-Options"] = "nosniff"
    watching.limit_headers(response)
    watching.tell(response)
    if g.get("held") is not None:
        response.call_on_close(g.pop("held").end)  # a streamed answer holds its thread to its end
    return response


def _give_back(_error: BaseException | None) -> None:
    """Give the thread back where no answer came to be."""
    held: Held | None = g.pop("held", None)
    if held is not None:
        held.end()
