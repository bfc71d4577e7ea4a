"""The text card: the whole plan on paper or a phone, every number in both unit systems."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from service.errors import Text
from service.render.card.annex import annex
from service.render.card.card import (
    CONTRADICTION,
    KIND_WORDS,
    TWO_ROWS,
    Plan,
    cautions,
    contradicts,
    fact_rows,
    held,
    locating_first,
    unknowns,
    words,
)
from service.render.card.plain_text import Writer, unbound
from service.render.card.strips import base_bolt_lines, bolting_lines, support_lines, target_lines
from service.words import UnitSystem

NARROWEST: Final = 40
WIDEST: Final = 132


def card(
    instructions: Plan,
    *,
    units: UnitSystem,
    width: int = 72,
    ascii: bool = True,
) -> str:
    """Return the card of a plan as plain text.

    Parameters
    ----------
    instructions : dict
        The unit-neutral record of ``instructions``; id, revision, created_at, sha256 and the order's ``external``
        {system, number} are printed when present.
    units : str
        ``metric`` or ``inch``: which of the two systems comes first.
    width : int
        Columns, 40 to 132.
    ascii : bool
        Seven-bit characters only.

    Raises
    ------
    ValueError
        The width is outside 40 to 132.
    """
    if not NARROWEST <= width <= WIDEST:
        raise ValueError(f"a card is {NARROWEST} to {WIDEST} columns wide, not {width}")
    writer = Writer(units=units, width=width, ascii_only=ascii)
    lines: list[str] = []
    for section in _SECTIONS:
        lines += section(writer, instructions)
    return "\n".join(unbound(lines)) + "\n"


def _header(writer: Writer, plan: Plan) -> Iterator[str]:
    order = plan.get("external") or {}
    yield writer.ruler("=")
    if order.get("number"):
        system = f" ({order['system']})" if order.get("system") else ""
        yield from writer.lines(f"WORK ORDER {order['number']}{system}")
    kind = str(KIND_WORDS.get(plan["kind"], plan["kind"])).upper()
    yield from writer.lines(f"{kind}: {', '.join(plan['positions'])}")
    yield from writer.lines(f"Asset {plan['asset']}, {plan['asset_name']}, shaft {plan['shaft']}")
    if plan.get("revision") is not None:
        replaces = f", replaces {plan['supersedes']}" if plan.get("supersedes") else ""
        yield from writer.lines(f"Revision {plan['revision']}{replaces}, {plan.get('created_at') or 'no date'}")
    for name in ("id", "sha256"):
        if plan.get(name):
            yield from writer.lines(f"{name} {plan[name]}")
    versions = f"Kind {plan['kind']}, tables {plan['data_version']}, engine {plan['engine_version']}"
    yield from writer.lines(f"{versions}, site units {plan['units']}")
    yield from writer.lines("HOLD = go on only when it is signed. STOP = must not be done like this.")
    yield writer.ruler("=")


def _cautions(writer: Writer, plan: Plan) -> Iterator[str]:
    yield "CAUTION"
    for caution in cautions(plan):
        yield from writer.lines(caution, first="! ", rest="  ")


def _alerts(writer: Writer, plan: Plan) -> Iterator[str]:
    if plan["blocked"]:
        yield from _titled(writer, "STOP: THIS MUST NOT BE DONE LIKE THIS", "#")
    for each in plan["blocked"]:
        where = f"{each['position']}: " if each.get("position") else ""
        yield from writer.lines((f"{where}{each['code']}: ", *words(each["detail"])), first="# ", rest="# ")
        for row in fact_rows(each["facts"]):
            yield from writer.lines((f"{row.label}: ", *words(row.text)), first="#   ", rest="#   ")
        for way in each["ways_out"]:
            yield from writer.lines(way, first="#   way out: ", rest="#   ")
    if plan["missing"]:
        yield from _titled(writer, "NOT KNOWN: ASK OR MEASURE")
    for unknown in unknowns(plan):
        where = f"{unknown.where}: " if unknown.where else ""
        parts = (f"{where}{unknown.name}: ", *words(unknown.why), ". How: ", *words(unknown.how))
        yield from writer.lines(parts, first="? ", rest="  ")


def _strips(writer: Writer, plan: Plan) -> Iterator[str]:
    for target in plan["targets"]:
        yield from _titled(writer, f"BEARING {target['position']}")
        yield from target_lines(writer, target)
    if plan["arrangement"] is not None:
        yield from _titled(writer, "LOCATING AND FREE")
    if contradicts(plan):
        yield from writer.lines(CONTRADICTION, rest="  ")
    holding = held(plan)
    for support in locating_first(plan):
        yield from support_lines(writer, support, holding)
    yield from _titled(writer, "CAP BOLTS")
    yield from _together(writer, plan["bolting"], bolting_lines)
    if plan["base_bolts"]:
        yield from _titled(writer, "BASE BOLTS")
        yield from _together(writer, plan["base_bolts"], base_bolt_lines)


def _together(
    writer: Writer, records: list[Mapping[str, Any]], strip: Callable[[Writer, Mapping[str, Any]], list[str]]
) -> Iterator[str]:
    """Yield the strips of the positions, those that say the same under one head."""
    positions: dict[tuple[str, ...], list[str]] = {}
    for each in records:
        positions.setdefault(tuple(strip(writer, each)), []).append(each["position"])
    for lines, names in positions.items():
        yield from writer.lines(f"{', '.join(names)}:", rest="  ")
        yield from lines


def _steps(writer: Writer, plan: Plan) -> Iterator[str]:
    yield from _titled(writer, "STEPS", "=")
    phase = None
    for step in plan["steps"]:
        if step["phase"] != phase:
            phase = step["phase"]
            yield ""
            yield from writer.lines(f"-- {phase.replace('_', ' ')} --")
        yield from _step(writer, step)


def _step(writer: Writer, step: Mapping[str, Any]) -> Iterator[str]:
    title = step["title"]
    mark = "HOLD " if step["hold_point"] and not title.startswith("STOP") else ""
    where = f" ({step['position']})" if step["position"] else ""
    indent = "     "
    yield ""
    yield from writer.lines(f"[ ] {mark}{title}{where}", first=f"{step['number']:<4} ", rest=indent)
    for caution in step["cautions"]:
        yield from writer.lines(caution, first=f"{indent}! ", rest=f"{indent}  ")
    yield from writer.lines(step["text"], first=indent, rest=indent)
    for name in ("tools", "parts"):
        if step[name]:
            yield from writer.lines(_listed(f"{name.capitalize()}: ", step[name]), first=indent, rest=indent)
    if step["record"] is not None:
        yield from _record(writer, step["record"], indent)
    if step["hold_point"]:
        yield from writer.lines("Signed ____________ time ________", first=indent, rest=indent)
    cited = "; ".join([f"rule {step['rule']}", *step["sources"]])
    yield from writer.lines(f"({step['id']}: {cited})", first=indent, rest=indent)


def _record(writer: Writer, record: Mapping[str, Any], indent: str) -> Iterator[str]:
    kind, unit = record["kind"], record.get("unit")
    label = kind.replace("_", " ")
    if unit is None:
        yield from writer.lines(f"{label}: [ ] done" if kind == "confirmation" else f"{label}: ________", first=indent)
        return
    places = f"row 1 ________ {unit}, row 2 ________ {unit}" if kind in TWO_ROWS else f"________ {unit}"
    limits = record.get("limits")
    parts: tuple[Any, ...] = (f"Write down {label}: ", places)
    if limits is not None:
        same = limits["min"] == limits["max"]
        parts += ("; ", limits["min"]) if same else ("; limits ", limits["min"], " to ", limits["max"])
    yield from writer.lines(parts, first=indent, rest=indent)


def _needs(writer: Writer, plan: Plan) -> Iterator[str]:
    yield from _titled(writer, "PARTS")
    for part in plan["parts"]:
        where = f"{part['position']}: " if part["position"] else ""
        count = f"{part['count']} x " if part["count"] is not None else ""
        yield from writer.lines((where, count, *words(part["name"])), first="[ ] ", rest="    ")
    yield from _titled(writer, "TOOLS")
    for tool in plan["tools"]:
        yield from writer.lines(tool, first="[ ] ", rest="    ")


def _ends(writer: Writer, plan: Plan) -> Iterator[str]:
    if plan["warnings"]:
        yield from _titled(writer, "ALSO READ")
    for each in plan["warnings"]:
        yield from writer.lines((f"{each['code']}: ", *words(each["detail"])), first="- ", rest="  ")
    yield from _titled(writer, "SOURCES")
    for each in plan["sources"]:
        yield from writer.lines(f"[{each['id']}] {each['title']} ({each['kind']})", first="- ", rest="  ")


def _annex(writer: Writer, plan: Plan) -> Iterator[str]:
    yield from _titled(writer, "FIGURES BEHIND THIS CARD", "=")
    for title, found in annex(plan, units=writer.units):
        yield from writer.lines((f"{title}: ", *words(found), "."), rest="  ")
    yield writer.ruler("=")


def _titled(writer: Writer, title: str, char: str = "-") -> Iterator[str]:
    yield writer.ruler(char)
    yield from writer.lines(title)


def _listed(lead: str, items: list[Text]) -> Text:
    parts: list[Any] = [lead]
    for count, item in enumerate(items):
        parts += ["; " if count else "", *words(item)]
    return tuple(parts)


_SECTIONS: Final[tuple[Callable[[Writer, Plan], Iterator[str]], ...]] = (
    _header,
    _cautions,
    _alerts,
    _strips,
    _steps,
    _needs,
    _ends,
    _annex,
)
