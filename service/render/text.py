"""The text card: the whole plan on paper or a phone, every number in both unit systems."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from service.errors import Text
from service.render.card_annex import figures
from service.render.card_strips import base_bolt_lines, bolting_lines, support_lines, target_lines
from service.render.plain_text import Writer, unbound
from service.render.present import UnitSystem

NARROWEST: Final = 40
WIDEST: Final = 132
Plan = Mapping[str, Any]
_KIND_WORDS: Final = {"replacement": "REPLACE BEARING", "inspection": "INSPECT BEARING"}
_ROWS: Final = ("initial_clearance", "residual_clearance")


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
    yield from writer.lines(f"{_KIND_WORDS.get(plan['kind'], plan['kind'])}: {', '.join(plan['positions'])}")
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
    before = [step for step in plan["steps"] if step["phase"] == "isolate"]
    yield "CAUTION"
    for caution in dict.fromkeys(caution for step in before for caution in step["cautions"]):
        yield from writer.lines(caution, first="! ", rest="  ")


def _alerts(writer: Writer, plan: Plan) -> Iterator[str]:
    if plan["blocked"]:
        yield from _titled(writer, "STOP: THIS MUST NOT BE DONE LIKE THIS", "#")
    for each in plan["blocked"]:
        where = f"{each['position']}: " if each.get("position") else ""
        yield from writer.lines((f"{where}{each['code']}: ", *_parts(each["detail"])), first="# ", rest="# ")
        yield from _facts(writer, each["facts"])
        for way in each["ways_out"]:
            yield from writer.lines(way, first="#   way out: ", rest="#   ")
    if plan["missing"]:
        yield from _titled(writer, "NOT KNOWN: ASK OR MEASURE")
    grouped: dict[Any, list[str]] = {}
    for each in plan["missing"]:
        names = grouped.setdefault((each["field"], each["why"], each["how"]), [])
        names += [each["position"]] if each.get("position") else []
    for (field, why, how), names in grouped.items():
        where = f"{', '.join(names)}: " if names else ""
        parts = (f"{where}{field.replace('_', ' ')}: ", *_parts(why), ". How: ", *_parts(how))
        yield from writer.lines(parts, first="? ", rest="  ")


def _facts(writer: Writer, facts: Mapping[str, Any]) -> Iterator[str]:
    for name, value in facts.items():
        items = value if isinstance(value, list) else [value]
        said: list[Any] = []
        for item in items:
            said += [", " if said else "", *_parts(item if not isinstance(item, bool | int | float) else str(item))]
        if not isinstance(value, dict):
            yield from writer.lines((f"{name.replace('_', ' ')}: ", *said), first="#   ", rest="#   ")
        else:
            yield from writer.lines(f"{name.replace('_', ' ')}:", first="#   ", rest="#   ")
            yield from _facts(writer, value)


def _strips(writer: Writer, plan: Plan) -> Iterator[str]:
    for target in plan["targets"]:
        yield from _titled(writer, f"BEARING {target['position']}")
        yield from target_lines(writer, target)
    if plan["arrangement"] is not None:
        yield from _titled(writer, "LOCATING AND FREE")
    roles = [support["role"] for support in _supports(plan)]
    if roles and None not in roles and _held(plan) is None:
        yield from writer.lines("STOP: the roles below contradict each other. Set no ring by them.", rest="  ")
    held = _held(plan)
    for support in sorted(_supports(plan), key=lambda each: each["role"] != "locating"):
        yield from support_lines(writer, support, held)
    yield from _titled(writer, "CAP BOLTS")
    yield from _together(writer, plan["bolting"], bolting_lines)
    if plan["base_bolts"]:
        yield from _titled(writer, "BASE BOLTS")
        yield from _together(writer, plan["base_bolts"], base_bolt_lines)


def _supports(plan: Plan) -> list[Mapping[str, Any]]:
    return [] if plan["arrangement"] is None else plan["arrangement"]["supports"]


def _held(plan: Plan) -> str | None:
    """Return the name of the one bearing that is held."""
    held = [support["name"] for support in _supports(plan) if support["role"] == "locating"]
    return held[0] if len(held) == 1 else None


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
    places = f"row 1 ________ {unit}, row 2 ________ {unit}" if kind in _ROWS else f"________ {unit}"
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
        yield from writer.lines((where, count, *_parts(part["name"])), first="[ ] ", rest="    ")
    yield from _titled(writer, "TOOLS")
    for tool in plan["tools"]:
        yield from writer.lines(tool, first="[ ] ", rest="    ")


def _ends(writer: Writer, plan: Plan) -> Iterator[str]:
    if plan["warnings"]:
        yield from _titled(writer, "ALSO READ")
    for each in plan["warnings"]:
        yield from writer.lines((f"{each['code']}: ", *_parts(each["detail"])), first="- ", rest="  ")
    yield from _titled(writer, "SOURCES")
    for each in plan["sources"]:
        yield from writer.lines(f"[{each['id']}] {each['title']} ({each['kind']})", first="- ", rest="  ")


def _annex(writer: Writer, plan: Plan) -> Iterator[str]:
    yield from _titled(writer, "FIGURES BEHIND THIS CARD", "=")
    named: dict[tuple[Any, ...], list[str]] = {}
    for title, name, record, strip in _records(writer, plan):
        named.setdefault((title, figures(writer, record, strip)), []).append(name)
    for (title, found), names in named.items():
        if found:
            yield from writer.lines((f"{title} {', '.join(names)}: ", *found, "."), rest="  ")
    yield writer.ruler("=")


def _records(writer: Writer, plan: Plan) -> Iterator[tuple[str, str, Mapping[str, Any], list[str]]]:
    """Yield every record of the plan with its title, its name and the lines of its strip."""
    for each in plan["targets"]:
        yield "Bearing", each["position"], each, target_lines(writer, each)
    held = _held(plan)
    for each in _supports(plan):
        yield "Support", each["name"], each, support_lines(writer, each, held)
    if plan["arrangement"] is not None:
        of_shaft = {name: value for name, value in plan["arrangement"].items() if name != "supports"}
        yield "Shaft", plan["shaft"], of_shaft, []
    for each in plan["bolting"]:
        yield "Cap bolts", each["position"], each, bolting_lines(writer, each)
    for each in plan["base_bolts"]:
        yield "Base bolts", each["position"], each, base_bolt_lines(writer, each)


def _titled(writer: Writer, title: str, char: str = "-") -> Iterator[str]:
    yield writer.ruler(char)
    yield from writer.lines(title)


def _listed(lead: str, items: list[Text]) -> Text:
    parts: list[Any] = [lead]
    for count, item in enumerate(items):
        parts += ["; " if count else "", *_parts(item)]
    return tuple(parts)


def _parts(text: Any) -> tuple[Any, ...]:
    return text if isinstance(text, tuple) else (text,)


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
