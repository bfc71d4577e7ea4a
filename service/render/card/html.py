"""The card as one HTML page: no script, no outside asset, readable on a phone and printable in black and white."""

from markupsafe import Markup

from service.render.card.card import Card, Plan, card_of
from service.render.card.shaft_line import Shaft, line_of
from service.render.markup import environment, qr_code, style
from service.render.pictures.svg import svg
from service.render.pictures.window import window_picture
from service.words import UnitSystem


def html_card(plan: Plan, *, units: UnitSystem, shaft: Shaft | None, address: str | None = None) -> str:
    """Return the card of a plan as an HTML document.

    Parameters
    ----------
    shaft : Shaft or None
        What the picture of the shaft line is drawn from; without it there is none.
    address : str or None
        Where this card can be read; printed as a QR code when it is absolute.
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
            style=style("card.css"),
        )
    )


def _windows(card: Card, units: UnitSystem) -> list[Markup]:
    named = enumerate(strip.target for strip in card.strips)
    return [Markup(window_picture(target, units=units, name=f"window-{n}")) for n, target in named]


def _line(card: Card, shaft: Shaft | None, units: UnitSystem) -> Markup | None:
    drawing = line_of(card, shaft, units)
    return None if drawing is None else Markup(svg(drawing, name="shaft-line"))
