"""What the pages of a card share: the link in the address, the order behind it, how a page is answered."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final
from urllib.parse import quote, unquote, urlsplit

from flask import Response, current_app, g, request

from service.api.cards.forms import Form, forms_of
from service.api.http import watching
from service.errors import NotFound
from service.instructions.readings.corrections import REASONS
from service.instructions.readings.readings import target_of
from service.mounting.readings import ACCEPT
from service.render.phone import pages
from service.render.phone.figures import Figures
from service.render.phone.places import Progress, progress
from service.render.phone.results import Result, result_of
from service.use_cases.orders.links import CardLink, LinkRefused, link_of
from service.use_cases.orders.shown import ShownOrder, shown_order
from service.words import UnitSystem

NAME_COOKIE: Final = "taken_by"


@dataclass(frozen=True)
class CardPage:
    """The card of a link at one moment."""

    token: str
    link: CardLink
    shown: ShownOrder

    @property
    def units(self) -> UnitSystem:
        """Return the units of the site."""
        return "inch" if self.link.caller.units == "inch" else "metric"

    @property
    def figures(self) -> Figures:
        """Return what writes numbers in the units of the site."""
        return Figures(self.units)

    @property
    def plan(self) -> Mapping[str, Any]:
        """Return the plan in force."""
        return self.shown.revision.record

    @property
    def base(self) -> str:
        """Return the path of the card."""
        return f"{root()}/card/{self.token}"

    @property
    def address(self) -> str:
        """Return the whole address of the card, as it is printed."""
        return f"{current_app.config['PUBLIC_URL']}/card/{self.token}"

    @cached_property
    def done(self) -> Progress:
        """Return where the job stands."""
        still_open = [(each.number, each.position) for each in self.shown.still_open]
        return progress(self.plan, self.shown.entries, still_open, [row.position for row in self.shown.found])

    @cached_property
    def forms(self) -> dict[int, list[Form]]:
        """Return the forms of an open order."""
        metric = self.plan["units"] == "metric"
        return forms_of(self.plan, metric=metric) if self.shown.order.status == "open" else {}

    def result(self, row: Any) -> Result:
        """Return what a reading says."""
        now = self.shown.situation
        target = target_of(self.plan, row.position)
        return result_of(row, self.figures, target=target, blade_set=None if now is None else now.blade_set)

    def initial_rows(self) -> dict[str | None, tuple[float, ...]]:
        """Return the initial clearance of each position as it was last accepted, [nm]."""
        kept = [each for each in self.shown.entries if each.kind == "initial_clearance" and each.verdict == ACCEPT]
        return {each.position: each.rows_nm for each in kept if each.rows_nm is not None}

    def shell(self) -> str:
        """Return what stands around every screen."""
        order = self.shown.order
        return pages.shell(
            title=order.external_number,
            machine=self.plan["asset"],
            root=root(),
            base=self.base,
            order_id=order.id,
            revision=self.shown.revision.number,
        )

    def screen(self, name: str, *, nonce: str | None = None, sent: Mapping[str, str] | None = None, **more: Any) -> str:
        """Return a screen of this card; without a nonce one that a phone keeps."""
        given: dict[str, Any] = {
            "base": self.base,
            "status": self.shown.order.status,
            "revision": self.shown.revision.number,
            "nonce": nonce,
            "sent": dict(sent or {}),
            "by": (sent or {}).get("taken_by") or unquote(request.cookies.get(NAME_COOKIE, ""))[:80],
            "reasons": REASONS,
            "approves": self.link.approves,
            "fault": None,
            "replaced": None,
            "sent_at": None,
        }
        return pages.screen(name, self.units, **(given | more))

    def page(self, inside: str, status: int = 200) -> Response:
        """Answer a whole page."""
        return html(pages.whole(self.shell(), inside), status)


def nonce() -> str:
    """Return a number of its own for a form: sent twice it is one entry."""
    return secrets.token_urlsafe(12)


def root() -> str:
    """Return the path that the service stands under."""
    return urlsplit(current_app.config["PUBLIC_URL"]).path.rstrip("/")


def card_page(token: str) -> CardPage:
    """Return the card that a link opens.

    Raises
    ------
    LinkRefused
        The link leads nowhere.
    NotFound
        Its order is gone.
    """
    link = card_link(token)
    with current_app.extensions["capsaddle"].database.read(link.caller.site_id) as tx:
        return CardPage(token, link, shown_order(tx, link.order_id))


def card_link(token: str) -> CardLink:
    """Return what a link stands for; its site's units are those of the request."""
    link = link_of(current_app.extensions["capsaddle"].keyring, token)
    g.caller, g.units = link.caller, link.caller.units
    watching.count(link.caller)  # a link is its key
    return link


def refused_status(error: LinkRefused | NotFound) -> int:
    """Return 410 for a link past its time, else 404: whose order it was is not said."""
    return 410 if isinstance(error, LinkRefused) and error.expired else 404


def refused(error: LinkRefused | NotFound) -> Response:
    """Say that a link leads nowhere; what a phone kept can still be read there."""
    status = refused_status(error)
    said = "This link is past its time." if status == 410 else "This link leads nowhere."
    around = pages.shell(title=said, machine="", root=root(), base="", order_id="", revision=None)
    advice = "Ask for a new one where the work order was shown."
    return html(pages.whole(around, pages.screen("unsent", "metric", base="", said=advice)), status)


def stopped(title: str, said: str, status: int) -> Response:
    """Say on a page of its own that the key of the link has sent as much as it may."""
    around = pages.shell(title=title, machine="", root=root(), base="", order_id="", revision=None)
    return html(pages.whole(around, pages.screen("unsent", "metric", base="", said=said)), status)


def html(body: str, status: int) -> Response:
    """Answer a page under the policy of the phone's pages."""
    headers = {
        "Content-Security-Policy": pages.policy(),
        "Referrer-Policy": "no-referrer",
        "Cache-Control": "no-store",
        "X-Robots-Tag": "noindex",
    }
    return Response(body, status=status, content_type="text/html; charset=utf-8", headers=headers)


def remember_name(answer: Response, base: str, name: str) -> None:
    """Have the phone remember who typed, for this card."""
    secure = current_app.config["PUBLIC_URL"].startswith("https:")
    answer.set_cookie(NAME_COOKIE, quote(name), path=base, httponly=True, samesite="Strict", secure=secure)
