"""What is not known, as the phone asks it: the one place that is replaced once answers are taken here."""

from collections.abc import Mapping
from typing import Any, Final

from service.render.phone.figures import Figures

ADVICE: Final = "Whoever knows one of these answers it in the maintenance system; the card is made anew then."


def open_questions(plan: Mapping[str, Any], figures: Figures) -> list[str]:
    """Return the questions of a plan that are open."""
    return [_question(each, figures) for each in plan["missing"] if each["field"] != "measured_clearance"]


def _question(missing: Mapping[str, Any], figures: Figures) -> str:
    at = f"{missing['position']}: " if missing.get("position") else ""
    how, why = figures.line(missing["how"]), figures.line(missing["why"])
    return f"{at}{how} ({why})"
