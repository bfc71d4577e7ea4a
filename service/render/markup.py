"""The HTML of this service: templates that escape, words and quantities as markup, style sheets by hash."""

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
from service.render.card.plain_text import cleaned, words
from service.render.present import quantity_text
from service.units import Quantity
from service.words import UnitSystem

_RENDER: Final = Path(__file__).parent
TEMPLATES: Final = (*sorted(_RENDER.glob("*/templates")), _RENDER / "templates")
_LOOSE_NUMBER: Final = re.compile(r"(?<=\d) (?=(?:%|mm|um|in|K|h|minutes|hours|x|deg[CF]|N\.m|lbf\.ft)(?![A-Za-z]))")


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
    found = next(folder / name for folder in TEMPLATES if (folder / name).exists())
    return Markup(found.read_text(encoding="utf-8"))


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
