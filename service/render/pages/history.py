"""The history of a machine as a page: the time line, what was measured at each mounting, lives and ranking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from service import units
from service.errors import Text
from service.render.card.card import Row
from service.render.markup import drawn, environment, style
from service.render.pictures.svg import svg
from service.render.pictures.timeline import Bar, timeline_drawing
from service.words import UnitSystem

STYLE: Final = "docs.css"
ENDED: Final = {
    "running": "running",
    "failed": "failed in service",
    "removed_condition": "removed for its condition",
    "removed_preventive": "removed by plan",
    "removed_opportunistic": "removed with the occasion",
    "removed_other": "removed for another reason",
    "lost_to_follow_up": "lost from view",
    "unknown": "not known",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture of the analysis, or the sentence that says why there is none."""

    title: str
    picture: str | None
    said: tuple[str, ...]


def history_page(
    *,
    tag: str,
    name: str,
    positions: Sequence[tuple[str, Sequence[Mapping[str, Any]]]],
    figures: Sequence[Figure],
    as_of: datetime,
    units: UnitSystem,
    more: str | None,
) -> str:
    """Return the page.

    Parameters
    ----------
    positions : sequence of (name, stays)
        Stays by the columns of the store, lengths in nanometres, times aware.
    more : str or None
        Where all stays are listed, when only some stand here.
    """
    bars = [(each, [_bar(stay) for stay in stays]) for each, stays in positions]
    return (
        environment(units)
        .get_template("history.html")
        .render(
            title=tag if name == tag else f"{tag}, {name}",
            timeline=drawn(svg(timeline_drawing(bars, as_of=as_of), name="timeline")),
            positions=[(each, [(_headed(stay), _rows(stay)) for stay in reversed(stays)]) for each, stays in positions],
            figures=[(each.title, each.picture and drawn(each.picture), each.said) for each in figures],
            as_of=f"{as_of:%Y-%m-%d %H:%M} UTC",
            more=more,
            style=style(STYLE),
        )
    )


def _bar(stay: Mapping[str, Any]) -> Bar:
    return Bar(stay["installed_at"], stay["removed_at"], stay["end_type"], stay["designation"])


def _headed(stay: Mapping[str, Any]) -> str:
    ended = f"{stay['removed_at']:%Y-%m-%d}" if stay["removed_at"] else "today"
    return f"{stay['designation']}, {stay['installed_at']:%Y-%m-%d} to {ended}: {ENDED[stay['end_type']]}"


def _rows(stay: Mapping[str, Any]) -> list[Row]:
    """Return what is known of a stay, the measured clearances with their window first."""
    low, high = stay["window_min_nm"], stay["window_max_nm"]
    window: Text = ("to be left: ", units.clearance(low), " to ", units.clearance(high)) if low and high else ""
    residual = stay["residual_clearance_nm"]
    found: list[tuple[str, Text]] = [
        ("initial clearance", _clearance(stay["initial_clearance_nm"])),
        ("residual clearance", (units.clearance(residual), "; " if window else "", *_parts(window)))
        if residual is not None
        else ("window", window),
        ("damage", _damage(stay["damage"] or "")),
        ("cause", stay["cause"] or ""),
        ("operating hours", "" if stay["operating_hours"] is None else f"{stay['operating_hours']:,.0f} h"),
        ("inspected", {True: "yes", False: "no", None: ""}[stay["inspected"]]),
        ("manufacturer", stay["manufacturer"] or ""),
        ("serial", stay["serial"] or ""),
        ("work order", stay["work_order"] or ""),
    ]
    return [Row(label, text) for label, text in found if text]


def _damage(codes: str) -> str:
    """Return the modes of damage as words: ``wear.abrasive|fracture.forced`` is wear, abrasive; fracture, forced."""
    return codes.replace("|", "; ").replace(".", ", ").replace("_", " ")


def _clearance(value_nm: int | None) -> Text:
    return "" if value_nm is None else (units.clearance(value_nm),)


def _parts(text: Text) -> tuple[Any, ...]:
    return (text,) if isinstance(text, str) else text
