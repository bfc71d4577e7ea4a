"""Which picture stands on a step of the phone: one of those of the sheets, with the numbers of this bearing."""

from collections.abc import Mapping
from typing import Any, Final

from service.render.card.shaft_line import Shaft
from service.render.pictures.drawing import Drawing
from service.render.pictures.steps import handling
from service.render.sheets.figures import Figures
from service.render.sheets.pictures import BALL, step_pictures
from service.render.sheets.scene import Plan
from service.words import UnitSystem

WANTED: Final[Mapping[str, str]] = {
    "initial": "blade-place",
    "residual": "blade-place",
    "residual-free": "blade-place",
    "tighten": "blade-or-stack",
    "tighten-free": "blade-or-stack",
}
"""Which one by its key, where the sheets have several of a step; otherwise the first."""
FOUND: Final = "as-found"


def picture_of(
    plan: Mapping[str, Any], step: Mapping[str, Any], position: str | None, *, units: UnitSystem, shaft: Shaft | None
) -> Drawing | None:
    """Return the picture of a step; None where words say it better."""
    if step["id"] == FOUND:
        return handling.load_mark()
    scene = Plan(plan, Figures(units), shaft)
    given = [
        each for each in step_pictures(scene, position) if step["id"] in each.steps and each.position in ("", position)
    ]
    wanted = "swivel" if _is_ball(scene, position) else WANTED.get(step["id"], "")
    own = [each for each in given if each.position == position]
    found = next((each for each in given if each.key == wanted), None) or next(iter(own or given), None)
    return None if found is None else found.drawing


def _is_ball(scene: Plan, position: str | None) -> bool:
    return ((scene.targets.get(position or "") or {}).get("bearing") or {}).get("type") == BALL
