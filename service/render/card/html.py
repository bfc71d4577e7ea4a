"""The card as one HTML page: no script, no outside asset, readable on a phone and printable in black and white."""

from markupsafe import Markup

from service.render.card.card import DEFAULT_LEVEL, FIRST, LEGEND, Card, Plan, card_of
from service.render.card.lines import row_parts
from service.render.card.shaft_line import Shaft, line_of
from service.render.markup import environment, qr_code, style
from service.render.pictures.svg import svg
from service.render.pictures.window import window_picture
from service.words import Level, UnitSystem


def html_card(
    plan: Plan,
    *,
    units: UnitSystem,
    shaft: Shaft | None,
    address: str | None = None,
    level: Level = DEFAULT_LEVEL,
) -> str:
    """Return the card of a plan as an HTML document.

    Parameters
    ----------
    shaft : Shaft or None
        What the picture of the shaft line is drawn from; without it there is none.
    address : str or None
        Where this card can be read; printed as a QR code when it is absolute.
    level : str
        ``brief``: the numbers and one line a step; ``standard``: the text of each step; ``full``: everything.
    """
    card = card_of(plan, units=units, level=level, shaft=shaft)
    return (
        environment(units)
        .get_template("card.html")
        .render(
            card=card,
            shared=shared,
            windows=_windows(card, units),
            line=_line(card, shaft, units),
            row_parts=row_parts,
            legend=LEGEND,
            first=FIRST,
            address=address,
            code=qr_code(address) if address and address.startswith("http") else None,
            style=style("card.css"),
        )
    )


def shared(card: Card, positions: tuple[str, ...]) -> bool:
    """Return whether a line of numbers need not say whom it is about."""
    return set(positions) in card.usual


def _windows(card: Card, units: UnitSystem) -> list[tuple[str, Markup]]:
    """Return the windows of clearance by position; one that this job measures first is drawn in full alone."""
    found = []
    for n, target in enumerate(card.targets):
        residual = target["residual_clearance"]
        if residual is not None and (card.level == "full" or not residual.get("provisional")):
            found.append((target["position"], Markup(window_picture(target, units=units, name=f"window-{n}"))))
    return found


def _line(card: Card, shaft: Shaft | None, units: UnitSystem) -> Markup | None:
    drawing = line_of(card.arrangement, shaft, units)
    return None if drawing is None else Markup(svg(drawing, name="shaft-line"))
