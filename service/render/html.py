"""The card as one HTML page: no script, no outside asset, readable on a phone and printable in black and white."""

import re
from base64 import b64encode
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Final

import jinja2
import segno
from markupsafe import Markup, escape

from service.errors import Text
from service.render.card import Card, Plan, card_of, words
from service.render.filling import Filling
from service.render.plain_text import cleaned
from service.render.present import UnitSystem, quantity_text
from service.render.shaft_line import Shaft, line_of
from service.render.svg import svg
from service.render.window_picture import window_picture
from service.units import Quantity

TEMPLATES: Final = Path(__file__).parent / "templates"
_LOOSE_NUMBER: Final = re.compile(r"(?<=\d) (?=(?:%|mm|um|in|K|h|minutes|hours|x)(?![A-Za-z]))")


def html_card(
    plan: Plan, *, units: UnitSystem, shaft: Shaft | None, address: str | None = None, filling: Filling | None = None
) -> str:
    """Return the card of a plan as an HTML document.

    Parameters
    ----------
    shaft : Shaft or None
        What the picture of the shaft line is drawn from; without it there is none.
    address : str or None
        Where this card can be read; printed as a QR code when it is absolute.
    filling : Filling or None
        The forms of a card that is filled in; without it the card is read only.
    """
    card = card_of(plan, units=units)
    return (
        environment(units)
        .get_template("card.html")
        .render(
            card=card,
            windows=_windows(card, units),
            line=_line(card, shaft, units),
            address=address,
            code=qr_code(address) if address and address.startswith("http") else None,
            filling=filling,
            style=style("card.css"),
        )
    )


def message_page(title: str, said: str) -> str:
    """Return a page that says one thing."""
    return environment("metric").get_template("message.html").render(title=title, said=said, style=style("card.css"))


def _windows(card: Card, units: UnitSystem) -> list[Markup]:
    named = enumerate(strip.target for strip in card.strips)
    return [Markup(window_picture(target, units=units, name=f"window-{n}")) for n, target in named]


def _line(card: Card, shaft: Shaft | None, units: UnitSystem) -> Markup | None:
    drawing = line_of(card, shaft, units)
    return None if drawing is None else Markup(svg(drawing, name="shaft-line"))


def drawn(picture: str) -> Markup:
    """Return a picture of ours, its words escaped where it was written, as markup."""
    return Markup(picture)


@lru_cache(maxsize=256)
def qr_code(address: str) -> Markup:
    """Return the QR code of an address as SVG."""
    code = segno.make_qr(address, error="m")
    return Markup(code.svg_inline(scale=1, border=4, svgclass=None, lineclass=None, omitsize=True, dark="black"))


@cache
def environment(units: UnitSystem) -> jinja2.Environment:
    """Return the templates, which escape everything that is not markup of ours."""
    found = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        auto_reload=False,
    )
    found.filters["say"] = lambda text: _words(text) if type(text) is str else said(text, units)
    return found


def said(text: Text | Quantity | None, units: UnitSystem) -> Markup:
    """Return a text as markup: words escaped and cleaned, each quantity unbroken, the other unit system smaller."""
    if text is None or text == "":
        return Markup("")
    if isinstance(text, str):
        return _words(text)
    said = [_quantity(part, units) if isinstance(part, Quantity) else _words(part) for part in words(text)]
    return Markup("".join(said))  # each part is markup of ours


@lru_cache(maxsize=4096)
def _words(part: str) -> Markup:
    """Return words as markup, a blank at their ends kept: a sentence is put together from parts."""
    if not part.strip():
        return Markup(" " if part else "")
    lead, tail = " " * part[0].isspace(), " " * part[-1].isspace()
    return escape(f"{lead}{_LOOSE_NUMBER.sub(chr(160), cleaned(part, ascii_only=False))}{tail}")


@lru_cache(maxsize=16_384)
def _quantity(quantity: Quantity, units: UnitSystem) -> Markup:
    first, _, other = quantity_text(quantity, units).partition(" (")
    small = Markup(" <small>({}</small>").format(other) if other else ""
    return Markup('<span class="q">{}{}</span>').format(first, small)


@cache
def style(name: str) -> Markup:
    """Return a style sheet of ours, as it stands in the page."""
    return Markup((TEMPLATES / name).read_text(encoding="utf-8"))


@cache
def content_policy(name: str, *, forms: bool = False) -> str:
    """Return the Content-Security-Policy of a page with this style sheet: nothing but the style, known by its hash."""
    return style_policy(style(name), forms=forms)


def style_policy(css: str, *, forms: bool = False) -> str:
    """Return the Content-Security-Policy of a page that has this style in it: see ``content_policy``."""
    digest = b64encode(sha256(css.encode()).digest()).decode()
    sent = "'self'" if forms else "'none'"
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; form-action {sent}; base-uri 'none'; frame-ancestors 'none'"
    )
