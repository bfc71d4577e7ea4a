"""What stands along a shaft, for the pictures of cards."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

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


def shaft_on_record(inputs: Mapping[str, Any]) -> Shaft:
    """Return what stands along the shaft of a revision, as it was on record when it was made.

    Parameters
    ----------
    inputs : dict
        The stored inputs of the revision
    """
    found = shaft_document(inputs)
    return Shaft(
        name=f"{inputs['asset']['tag']}, {found['name']}",
        supports=found["positions"],
        drives=found.get("drives") or (),
        wheels=found.get("wheels") or (),
    )


def shaft_document(inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Return the shaft of a revision's inputs as its document says it."""
    first = inputs["positions"][0]["name"]  # names are unique within an asset
    shafts: list[dict[str, Any]] = inputs["asset"]["shafts"]
    return next(shaft for shaft in shafts if any(each["name"] == first for each in shaft["positions"]))


def line_of(arrangement: Mapping[str, Any] | None, shaft: Shaft | None, units: UnitSystem) -> Drawing | None:
    """Return the picture of the shaft line of a plan; none where nothing is known of the shaft."""
    if shaft is None or arrangement is None:
        return None
    return shaft_drawing(
        arrangement,
        supports=shaft.supports,
        drives=shaft.drives,
        wheels=shaft.wheels,
        units=units,
        shaft=shaft.name,
    )
