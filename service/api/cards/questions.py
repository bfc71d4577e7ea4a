"""What is not known, as the phone asks it: the open questions of readiness, what must be known first at the top."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from service.instructions.readiness import AMBER, OPEN, RED
from service.render.card.questions import SHORT


@dataclass(frozen=True, slots=True)
class OpenQuestion:
    """An open question: in short and in full, who knows it, why it is asked.

    Parameters
    ----------
    first : bool
        Whether the order waits for it, [-]
    step : str or None
        Id of the step at which it can be asked
    """

    id: str
    position: str | None
    short: str
    said: str
    who: str
    why: str
    first: bool
    step: str | None

    @property
    def path(self) -> str:
        """Return its address below that of the card."""
        return f"/answer/{self.id}" + ("" if self.position is None else f"/{quote(self.position, safe='')}")


def open_questions(plan: Mapping[str, Any]) -> list[OpenQuestion]:
    """Return the questions of a plan that are open; none of a plan of an older engine."""
    found = [
        OpenQuestion(
            id=each["id"],
            position=each["position"],
            short=SHORT[each["id"]],
            said=each["question"],
            who=each["who"],
            why=each["why"],
            first=each["colour"] == RED,
            step=each["step"],
        )
        for each in plan.get("readiness", ())
        if each["status"] == OPEN and each["colour"] in (RED, AMBER)
    ]
    return sorted(found, key=lambda each: not each.first)
