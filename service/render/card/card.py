"""What a card says and in which order, before it is laid out: for text, HTML and markdown alike.

Three levels: brief is the numbers and one line a step, in the reader's units; standard has the standard text of every
step; full adds reasons, unknowns, parts, every figure in both unit systems, sources. What stands on sheet 1 is taken
from there.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.errors import Text
from service.render.card.lines import Numbers, heads, number_lines, usual_ends
from service.render.card.plain_text import words
from service.render.card.questions import Question, also_open, questions
from service.render.card.shaft_line import Shaft
from service.render.card.steps import Phase, phases
from service.render.sheets.annex import Piece, behind
from service.render.sheets.content import Rows
from service.render.sheets.figures import Figures
from service.render.sheets.front import foot, shaft_rows
from service.render.sheets.scene import Plan as Scene
from service.words import Level, UnitSystem

Plan = Mapping[str, Any]
KIND_WORDS: Final = {"replacement": "Replace bearing", "inspection": "Inspect bearing"}
DEFAULT_LEVEL: Final[Level] = "standard"
"""How much a card says where nobody asked for more or less."""
LEGEND: Final = ("go on only when it is signed", "must not be done like this")
"""What HOLD and STOP mean."""

FIRST: Final = "Makers' instructions, local codes and qualified people come first."


@dataclass(frozen=True, slots=True)
class Row:
    """A name and what is said of it."""

    label: str
    text: Text


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that must not be done like this, and the step at which it stops the work."""

    where: str
    code: str
    detail: Text
    facts: tuple[Row, ...]
    ways: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """The whole card, in the order in which it is read.

    Parameters
    ----------
    usual : tuple of sets of positions
        Lines of numbers about one of these do not name them
    ends : tuple of str
        The order of squares at steps that are done at every end
    """

    level: Level
    title: str
    order: str
    machine: str
    revision: str
    stops: tuple[Stop, ...]
    questions: tuple[Question, ...]
    also_open: str
    changed: tuple[Row, ...]
    heads: tuple[tuple[str, str], ...]
    numbers: tuple[Numbers, ...]
    usual: tuple[frozenset[str], ...]
    shaft: Rows
    foot: str
    ends: tuple[str, ...]
    phases: tuple[Phase, ...]
    behind: tuple[Piece, ...]
    closing: tuple[str, ...]
    targets: tuple[Mapping[str, Any], ...]
    arrangement: Mapping[str, Any] | None


def card_of(plan: Plan, *, units: UnitSystem, level: Level = DEFAULT_LEVEL, shaft: Shaft | None = None) -> Card:
    """Return the card of a plan (the unit-neutral record, with id, revision, sha256 and ``external`` when known).

    Parameters
    ----------
    units : str
        ``metric`` or ``inch``: the one system of numbers and brief lines, the first of two elsewhere
    level : str
        ``brief``, ``standard`` or ``full``
    shaft : Shaft or None
        What stands along the shaft; from it the sides are named
    """
    scene = Scene(plan, Figures(units), shaft)
    return Card(
        level=level,
        title=f"{KIND_WORDS.get(plan['kind'], plan['kind'])}: {', '.join(plan['positions'])}",
        order=_order(plan),
        machine=f"{plan['asset']}, {plan['asset_name']}, shaft {plan['shaft']}",
        revision=_revision(plan),
        stops=tuple(_stop(plan, each, level) for each in plan["blocked"]),
        questions=tuple(questions(scene, level)),
        also_open=also_open(scene),
        changed=tuple(_changed(plan)),
        heads=heads(scene),
        numbers=number_lines(scene, short=level == "brief"),
        usual=usual_ends(scene),
        shaft=shaft_rows(scene),
        foot=foot(scene),
        ends=next((tuple(each["positions"]) for each in plan["steps"] if each["per"] == "each"), ()),
        phases=tuple(phases(scene, level)),
        behind=tuple(behind(scene)) if level == "full" else (),
        closing=_closing(plan),
        targets=tuple(plan["targets"]),
        arrangement=plan["arrangement"],
    )


def fact_rows(facts: Mapping[str, Any], lead: str = "") -> Iterator[Row]:
    """Yield the facts of something blocked as rows, those of a nested record under its name."""
    for name, value in facts.items():
        label = f"{lead}{name.replace('_', ' ')}"
        if isinstance(value, dict):
            yield from fact_rows(value, f"{label}, ")
            continue
        said: list[Any] = []
        for item in value if isinstance(value, list) else [value]:
            said += [", " if said else "", *words(_fact(name, item))]
        yield Row(label, tuple(said))


def _fact(name: str, value: Any) -> Any:
    """Return a fact as it is read: a share in per cent, other plain numbers with four digits."""
    if isinstance(value, float):
        return f"{value * 100:.0f} %" if name.startswith("share_of") else f"{value:.4g}"
    return str(value) if isinstance(value, bool | int) else value


def _order(plan: Plan) -> str:
    order = plan.get("external") or {}
    if not order.get("number"):
        return "No work order"
    return f"Work order {order['number']}" + (f" ({order['system']})" if order.get("system") else "")


def _revision(plan: Plan) -> str:
    if plan.get("revision") is None:
        return "Not stored: a plan without a revision"
    replaces = f", replaces {plan['supersedes']}" if plan.get("supersedes") else ""
    at = plan.get("created_at")
    return f"Revision {plan['revision']}{replaces}, {f'{at[:10]} {at[11:16]} UTC' if at else 'no date'}"


def _closing(plan: Plan) -> tuple[str, ...]:
    """Return what identifies this card."""
    made = f"tables {plan['data_version']}, engine {plan['engine_version']}"
    first = f"id {plan['id']}, {made}" if plan.get("id") else made
    return (first, f"sha256 {plan['sha256']}") if plan.get("sha256") else (first,)


def _stop(plan: Plan, each: Mapping[str, Any], level: Level) -> Stop:
    place = each.get("position")
    stopped = [step for step in plan["steps"] if step["stop"] == each["code"]]
    at = [step["number"] for step in stopped if place is None or place in (step["positions"] or [place])]
    step = f"step {at[0]}" if at else ""
    where = ", ".join(part for part in (place or "", step) if part)
    facts = tuple(fact_rows(each["facts"])) if level == "full" else ()
    return Stop(where, each["code"], each["detail"], facts, tuple(each["ways_out"]))


def _changed(plan: Plan) -> Iterator[Row]:
    """Yield what is set otherwise than the last time, by position."""
    for each in plan["last_time"]:
        for change in each["differs"]:
            before, now = (change[which] for which in ("before", "now"))
            said = (*words(_fact("", before)), " before, now ", *words(_fact("", now)))
            yield Row(f"{each['position']}, {change['what'].replace('_', ' ')}", said)
