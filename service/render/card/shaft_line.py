"""What stands along a shaft, for the pictures of cards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.render.card.card import Card
from service.render.pictures.drawing import Drawing
from service.render.pictures.shaft import shaft_drawing
from service.words import UnitSystem


@dataclass(frozen=True, slots=True)
class Shaft:
    """What stands along the shaft: the positions, drives and wheels on record."""

    name: str
    supports: Sequence[Mapping[str, Any]]
    drives: Sequence[Mapping[str, Any]] = ()
    wheels: Sequence[Mapping[str, Any]] = ()


def line_of(card: Card, shaft: Shaft | None, units: UnitSystem) -> Drawing | None:
    """Return the picture of the shaft line of a card; none where nothing is known of the shaft."""
    if shaft is None or card.arrangement is None:
        return None
    return shaft_drawing(
        card.arrangement,
        supports=shaft.supports,
        drives=shaft.drives,
        wheels=shaft.wheels,
        units=units,
        shaft=shaft.name,
    )
