"""What each block takes of grease or oil: by the grams of its book, else estimated (rule I8)."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from service.instructions.plan.scene import Scene
from service.instructions.planning.grease import DRAWN_STEP_G, bearing_fill, drawn_from_store


@dataclass(frozen=True, slots=True)
class Fill:
    """The lubricant of one block, [g]; None where it is not known. ``by_book``: its housing's book gives the grams."""

    position: str
    oil: bool
    bearing_g: float | None
    housing_g: float | None
    drawn_g: float | None
    by_book: bool


def fills(scene: Scene) -> Iterator[Fill]:
    """Yield the fill of each block that is greased anew, in the order of work.

    A sealed bearing is not packed and its housing stays dry unless its book gives grams.
    """
    names = scene.worked if scene.job.kind == "replacement" else scene.in_order
    for name in names:
        position, bearing = scene.at[name], scene.bearing(name)
        if position.lubrication == "oil":
            yield Fill(name, True, None, None, None, False)
            continue
        sealed = scene.sealed(name)
        bearing_g = 0.0 if sealed else None if bearing is None else bearing_fill(bearing)
        housing_g = position.grease_g
        if sealed and housing_g is None:
            continue
        drawn_g: float | None = None
        if housing_g is not None and bearing_g is not None:
            drawn_g = _up(bearing_g + housing_g)
        elif bearing_g is not None:
            drawn_g = float(drawn_from_store(bearing_g))
        yield Fill(name, False, bearing_g, housing_g, drawn_g, housing_g is not None)


def _up(grease_g: float) -> float:
    return float(ceil(round(grease_g / DRAWN_STEP_G, 9)) * DRAWN_STEP_G)
