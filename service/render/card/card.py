"""What the card says and in which order, before it is laid out: for HTML, PDF and markdown alike.

Everything is unit-neutral words and quantities; how they look is the matter of the layouts.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.errors import Text
from service.render.card import strips as card_strips
from service.render.card.annex import annex
from service.words import CLEARANCE_READINGS, UnitSystem

Plan = Mapping[str, Any]
KIND_WORDS: Final = {"replacement": "Replace bearing", "inspection": "Inspect bearing"}
TWO_ROWS: Final = CLEARANCE_READINGS
CONTRADICTION: Final = "STOP: the roles below contradict each other. Set no ring by them."


@dataclass(frozen=True, slots=True)
class Row:
    """A name and what is said of it."""

    label: str
    text: Text


@dataclass(frozen=True, slots=True)
class Stop:
    """Something that must not be done like this."""

    where: str
    code: str
    detail: Text
    facts: tuple[Row, ...]
    ways: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Unknown:
    """A fact that is not known, for some positions: why it is needed and how to get it."""

    where: str
    name: str
    why: Text
    how: Text


@dataclass(frozen=True, slots=True)
class Number:
    """One of the four numbers of a bearing; ``text`` is None where it is to be written in."""

    label: str
    text: Text | None
    notes: tuple[Row, ...]
    loud: bool = False


@dataclass(frozen=True, slots=True)
class Strip:
    """One bearing: what it is, the four numbers that matter, and further rows."""

    position: str
    bearing: Text
    numbers: tuple[Number, ...]
    rows: tuple[Row, ...]
    target: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Block:
    """Rows under one heading."""

    title: Text
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Blank:
    """What is written down at a step: the places to write in with their unit, and the limits."""

    kind: str
    label: str
    places: tuple[str, ...]
    unit: str | None
    limits: Text | None


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the plan."""

    number: int
    id: str
    position: str | None
    title: str
    hold: bool
    stop: bool
    cautions: tuple[Text, ...]
    text: Text
    tools: tuple[Text, ...]
    parts: tuple[Text, ...]
    blank: Blank | None
    cited: str

    @property
    def heading(self) -> str:
        """Return the title with the position it is done at."""
        return f"{self.title} ({self.position})" if self.position else self.title


@dataclass(frozen=True, slots=True)
class Card:
    """The whole card, in the order in which it is read."""

    title: str
    order: str
    machine: str
    revision: str
    marks: tuple[Row, ...]
    cautions: tuple[Text, ...]
    stops: tuple[Stop, ...]
    unknowns: tuple[Unknown, ...]
    strips: tuple[Strip, ...]
    contradiction: bool
    supports: tuple[Block, ...]
    cap_bolts: tuple[Block, ...]
    base_bolts: tuple[Block, ...]
    phases: tuple[tuple[str, tuple[Step, ...]], ...]
    parts: tuple[Text, ...]
    tools: tuple[Text, ...]
    warnings: tuple[Row, ...]
    sources: tuple[Row, ...]
    annex: tuple[Row, ...]
    arrangement: Mapping[str, Any] | None


def card_of(plan: Plan, *, units: UnitSystem) -> Card:
    """Return the card of a plan (the unit-neutral record, with id, revision, sha256 and ``external`` when known).

    Parameters
    ----------
    units : str
        ``metric`` or ``inch``; decides only which figures the annex has to repeat.
    """
    holding = held(plan)
    return Card(
        title=f"{KIND_WORDS.get(plan['kind'], plan['kind'])}: {', '.join(plan['positions'])}",
        order=_order(plan),
        machine=f"{plan['asset']}, {plan['asset_name']}, shaft {plan['shaft']}",
        revision=_revision(plan),
        marks=tuple(_marks(plan)),
        cautions=cautions(plan),
        stops=tuple(_stop(each) for each in plan["blocked"]),
        unknowns=tuple(unknowns(plan)),
        strips=tuple(_strip(target) for target in plan["targets"]),
        contradiction=contradicts(plan),
        supports=tuple(_support(each, holding) for each in locating_first(plan)),
        cap_bolts=tuple(_together(plan["bolting"], card_strips.bolting_rows)),
        base_bolts=tuple(_together(plan["base_bolts"], card_strips.base_bolt_rows)),
        phases=tuple(_phases(plan["steps"])),
        parts=tuple(_part(each) for each in plan["parts"]),
        tools=tuple(plan["tools"]),
        warnings=tuple(Row(each["code"], each["detail"]) for each in plan["warnings"]),
        sources=tuple(Row(each["id"], f"{each['title']} ({each['kind']})") for each in plan["sources"]),
        annex=tuple(Row(title, text) for title, text in annex(plan, units=units)),
        arrangement=plan["arrangement"],
    )


def cautions(plan: Plan) -> tuple[Text, ...]:
    """Return the cautions that stand before everything else, each once."""
    before = [step for step in plan["steps"] if step["phase"] == "isolate"]
    return tuple(dict.fromkeys(caution for step in before for caution in step["cautions"]))


def unknowns(plan: Plan) -> Iterator[Unknown]:
    """Yield what is not known, the positions that miss the same together."""
    grouped: dict[tuple[str, Text, Text], list[str]] = {}
    for each in plan["missing"]:
        names = grouped.setdefault((each["field"], each["why"], each["how"]), [])
        names += [each["position"]] if each.get("position") else []
    for (name, why, how), names in grouped.items():
        yield Unknown(", ".join(names), name.replace("_", " "), why, how)


def supports(plan: Plan) -> list[Mapping[str, Any]]:
    """Return the supports of the shaft, none where they are not worked out."""
    return [] if plan["arrangement"] is None else plan["arrangement"]["supports"]


def locating_first(plan: Plan) -> list[Mapping[str, Any]]:
    """Return the supports, those that are held first."""
    return sorted(supports(plan), key=lambda each: each["role"] != "locating")


def held(plan: Plan) -> str | None:
    """Return the name of the one bearing that is held."""
    named = [support["name"] for support in supports(plan) if support["role"] == "locating"]
    return named[0] if len(named) == 1 else None


def contradicts(plan: Plan) -> bool:
    """Return whether all roles are decided and yet not one bearing alone is held."""
    roles = [support["role"] for support in supports(plan)]
    return bool(roles) and None not in roles and held(plan) is None


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


def words(text: Any) -> tuple[Any, ...]:
    """Return a text as a tuple of words and quantities."""
    return text if isinstance(text, tuple) else (text,)


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


def _marks(plan: Plan) -> Iterator[Row]:
    """Yield what identifies this card."""
    for name, label in (("id", "id"), ("sha256", "sha256"), ("created_at", "issued")):
        if plan.get(name):
            yield Row(label, plan[name])
    yield Row("made with", f"tables {plan['data_version']}, engine {plan['engine_version']}")
    yield Row("site units", plan["units"])
    yield Row("kind", plan["kind"])


def _stop(each: Mapping[str, Any]) -> Stop:
    facts, ways = tuple(fact_rows(each["facts"])), tuple(each["ways_out"])
    return Stop(each.get("position") or "", each["code"], each["detail"], facts, ways)


def _strip(target: Mapping[str, Any]) -> Strip:
    bearing = target["bearing"]
    said = card_strips.bearing_text(bearing) if bearing else "not on record: read the marks"
    return Strip(target["position"], said, tuple(_numbers(target)), tuple(_further(target)), target)


def _numbers(target: Mapping[str, Any]) -> Iterator[Number]:
    """Yield the four numbers: measured, take away, leave, blades."""
    initial = Row("class", card_strips.bounds(target["initial_clearance"]) or "not known")
    measured = target["measured"]
    if measured is None:
        said = card_strips.NOT_BY_BLADES if card_strips.is_ball(target) else None
        yield Number("Measured before mounting", said, (initial,))
    else:
        verdict = card_strips.measured_text(measured)[1:]
        yield Number("Measured before mounting", (measured["value"], *verdict), (initial,))
    yield _ranged("Take away", target["reduction"], card_strips.UNKNOWN)
    residual = target["residual_clearance"]
    floor = residual and residual.get("floor")
    notes = (Row("never below", (floor,)),) if floor is not None else ()
    if residual and residual.get("provisional"):
        notes = (Row("outer limits", "of the class" if card_strips.is_ball(target) else "measure first"), *notes)
    yield _ranged("LEAVE (residual)", residual, card_strips.unknown_residual(target), *notes, loud=True)
    yield _blade_number(target)


def _ranged(label: str, given: Mapping[str, Any] | None, unknown: str, *notes: Row, loud: bool = False) -> Number:
    limits = card_strips.bounds(given)
    if given is None or not limits:
        return Number(label, unknown, notes, loud)
    aim = given.get("aim")
    aims = () if aim is None else (Row("aim", (aim,)),)
    return Number(label, limits, (*aims, *notes), loud)


def _blade_number(target: Mapping[str, Any]) -> Number:
    blades = target["blades"]
    if blades is None:
        return Number("Blade, light drag", _without_blades(target), ())
    rows = [Row(label.strip(), text) for label, text in card_strips.blade_rows(blades)]
    if not blades["resolves"]:
        return Number("Blade, light drag", rows[0].text, ())
    first = [row for row in rows if row.label.startswith("BLADE")]
    others = tuple(row for row in rows if not row.label.startswith("BLADE"))
    return Number("Blade, light drag", first[0].text if first else "see below", others, loud=True)


def _without_blades(target: Mapping[str, Any]) -> str:
    """Return why no blade can be named."""
    if card_strips.is_ball(target):
        return card_strips.NOT_BY_BLADES
    if target["residual_clearance"] is None and target["bearing"]:
        return card_strips.unknown_residual(target)
    return "after the initial clearance is measured"


_IN_NUMBERS: Final = ("Bearing", "Initial clearance", "measured", "Take away", "LEAVE (residual)", "never below")


def _further(target: Mapping[str, Any]) -> Iterator[Row]:
    """Yield the rows that are not among the four numbers."""
    blades = {label.strip() for label, _ in card_strips.blade_rows(target["blades"])}
    for label, text in card_strips.target_rows(target):
        if label.strip() not in _IN_NUMBERS and label.strip() not in blades:
            yield Row(label.strip(), text)


def _support(support: Mapping[str, Any], holding: str | None) -> Block:
    role = card_strips.ROLE_WORDS.get(support["role"], support["role"])
    rows = [Row("why", support["reason"])]
    rows += [Row(label.strip(), text) for label, text in card_strips.support_rows(support, holding)]
    return Block(f"{support['name']}: {role}", tuple(rows))


def _together(
    records: Iterable[Mapping[str, Any]], rows_of: Callable[[Mapping[str, Any]], Iterable[card_strips.Row]]
) -> Iterator[Block]:
    """Yield the rows of each position, those that say the same under one heading."""
    positions: dict[tuple[Row, ...], list[str]] = {}
    for each in records:
        rows = tuple(Row(label.strip(), text) for label, text in rows_of(each))
        positions.setdefault(rows, []).append(each["position"])
    for rows, names in positions.items():
        yield Block(", ".join(names), rows)


def _phases(steps: Iterable[Mapping[str, Any]]) -> Iterator[tuple[str, tuple[Step, ...]]]:
    phase, together = "", list[Step]()
    for step in steps:
        if step["phase"] != phase and together:
            yield phase.replace("_", " "), tuple(together)
            together = []
        phase = step["phase"]
        together.append(_step(step))
    if together:
        yield phase.replace("_", " "), tuple(together)


def _step(step: Mapping[str, Any]) -> Step:
    return Step(
        number=step["number"],
        id=step["id"],
        position=step["position"],
        title=step["title"],
        hold=step["hold_point"],
        stop=step["title"].startswith("STOP"),
        cautions=tuple(step["cautions"]),
        text=step["text"],
        tools=tuple(step["tools"]),
        parts=tuple(step["parts"]),
        blank=None if step["record"] is None else _blank(step["record"]),
        cited="; ".join([f"rule {step['rule']}", *step["sources"]]),
    )


def _blank(record: Mapping[str, Any]) -> Blank:
    kind, unit, limits = record["kind"], record.get("unit"), record.get("limits")
    places = ("row 1", "row 2") if kind in TWO_ROWS else ("",)
    said: Text | None = None
    if limits is not None:
        low, high = limits["min"], limits["max"]
        said = (low,) if low == high else ("limits ", low, " to ", high)
    return Blank(kind, kind.replace("_", " "), places, unit, said)


def _part(part: Mapping[str, Any]) -> Text:
    where = f"{part['position']}: " if part["position"] else ""
    count = f"{part['count']} x " if part["count"] is not None else ""
    return (where, count, *words(part["name"]))
