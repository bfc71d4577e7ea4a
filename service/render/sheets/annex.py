"""The annex of the sheets and of every card: what is read when there is time; why, and whence.

Nothing here is signed. Numbers stand in both unit systems, the reader's first.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from service.errors import Text
from service.render.card.plain_text import words
from service.render.sheets.figure_names import Path, figure_name
from service.render.sheets.scene import Plan
from service.units import Quantity

Kind = Literal["title", "phase", "step", "words", "row"]
FIGURES: Final = {
    "targets": "Bearings",
    "arrangement": "Held and free",
    "placement": "Places along the shaft",
    "bolting": "Cap bolts",
    "base_bolts": "Base bolts",
    "run_in": "Run-in",
    "planning": "Planning",
    "last_time": "Last time here",
}
"""Members of a plan whose every figure is printed, and what they are about."""
_LEFT_OUT: Final = frozenset(("missing", "warnings", "sources", "blocked", "position", "name", "parts", "tools"))
_CITED: Final = ("source", "floor_source")
_PER_CENT: Final = ("share_of_proof", "share_of_proof_band")


@dataclass(frozen=True, slots=True)
class Piece:
    """A paragraph of the annex; ``lead`` is said in bold before it."""

    kind: Kind
    text: Text
    lead: str = ""


def annex(plan: Plan, *, full: bool) -> Iterator[Piece]:
    """Yield the annex: every step in standard words; with ``full`` reasons, unknowns, figures, sources, identity."""
    yield Piece("title", "Every step in full words" if full else "Every step in standard words")
    yield from _steps(plan, full=full)
    if full:
        yield from _stopped(plan)
        yield from behind(plan)


def behind(plan: Plan) -> Iterator[Piece]:
    """Yield what stands behind a card in full: unknowns, parts, tools, figures, sources, identity."""
    yield from _settled(plan)
    yield from _listed(plan)
    yield from _figures(plan)
    yield from _identity(plan)


def _steps(plan: Plan, *, full: bool) -> Iterator[Piece]:
    titles = {each["id"]: each["title"] for each in plan.record["phases"]}
    phase = ""
    for step in plan.record["steps"]:
        if step["phase"] != phase:
            phase = step["phase"]
            yield Piece("phase", titles.get(phase, phase.replace("_", " ")))
        for caution in step["cautions"]:
            yield Piece("words", caution, lead="!")
        yield from _step(step, full=full)


def _step(step: Mapping[str, Any], *, full: bool) -> Iterator[Piece]:
    where = f" ({', '.join(step['positions'])})" if step["positions"] else ""
    hold = f"  HOLD {step['hold']}" if step["hold"] is not None else ""
    said: Text = step["text"]["standard"]
    if full and step["text"]["full"]:
        said = (*words(said), " ", *words(step["text"]["full"]))
    yield Piece("step", said, lead=f"{step['number']} {step['title']}{where}{hold}.")
    for each in step["by_position"]:
        yield Piece("words", each["text"], lead=f"{each['position']}:")
    for name in ("tools", "parts"):
        if step[name]:
            yield Piece("words", joined(step[name], ", "), lead=f"{name}:")
    limits = limits_text((step["record"] or {"limits": []})["limits"])
    if full and limits is not None:
        yield Piece("words", limits, lead="limits:")
    if full:
        yield Piece("words", "; ".join((step["rule"], *step["sources"])), lead="rule:")


def _stopped(plan: Plan) -> Iterator[Piece]:
    """Yield what blocks the work."""
    if plan.record["blocked"]:
        yield Piece("title", "STOP")
    for each in plan.record["blocked"]:
        where = f" ({each['position']})" if each.get("position") else ""
        ways = [part for way in each["ways_out"] for part in (" Way out: ", *words(way))]
        yield Piece("step", (*words(each["detail"]), ".", *ways), lead=f"{each['code']}{where}:")


def _settled(plan: Plan) -> Iterator[Piece]:
    """Yield what is not known, and what may be read later."""
    record = plan.record
    if record["missing"]:
        yield Piece("title", "Not known")
    for (field, why, how), names in _grouped(record["missing"]).items():
        where = f" ({', '.join(names)})" if names else ""
        said = (*words(why), ". How: ", *words(how), ".")
        yield Piece("words", said, lead=f"{field.replace('_', ' ')}{where}:")
    if record["warnings"]:
        yield Piece("title", "Worth knowing")
    for each in record["warnings"]:
        yield Piece("words", each["detail"], lead=f"{each['code']}:")


def _grouped(missing: Sequence[Mapping[str, Any]]) -> dict[tuple[str, Text, Text], list[str]]:
    grouped: dict[tuple[str, Text, Text], list[str]] = {}
    for each in missing:
        names = grouped.setdefault((each["field"], each["why"], each["how"]), [])
        names += [each["position"]] if each.get("position") else []
    return grouped


def _listed(plan: Plan) -> Iterator[Piece]:
    """Yield parts and tools, each to be ticked."""
    planning = plan.record["planning"]
    for title, given, said in (("Parts", planning["parts"], _part), ("Tools", planning["tools"], _tool)):
        if given:
            yield Piece("title", title)
        for each in given:
            yield Piece("words", said(each), lead="[  ]")


def _part(part: Mapping[str, Any]) -> Text:
    count = (f"{part['count']} x ",) if part["count"] is not None else ()
    said: list[Any] = [*count, *words(part["said"])]
    for name, size in part["size"].items():
        if size not in said:
            said += [f"; {name.replace('_', ' ')} ", size]
    said += ["; ", part["amount"]] if part["amount"] is not None else []
    said += ["; ", part["mass"], " each"] if part["mass"] is not None else []
    said += ["; ", *words(part["note"])] if part["note"] is not None else []
    return (*said, f"; for {', '.join(part['positions'])}") if part["positions"] else tuple(said)


def _tool(tool: Mapping[str, Any]) -> Text:
    reach = () if tool["reach"] is None else (": ", *words(tool["reach"]))
    return (*words(tool["said"]), *reach)


def _figures(plan: Plan) -> Iterator[Piece]:
    yield Piece("title", "Every figure behind this card")
    for member, title in FIGURES.items():
        if plan.record.get(member):
            yield Piece("phase", title)
            for names, said in _alike(plan.record[member]):
                yield Piece("row", said, lead=f"{', '.join(names)}:" if names else "")


def _alike(node: Any) -> Iterator[tuple[list[str], Text]]:
    """Yield the figures of a record; of a list of them by name, those that are alike together."""
    found: dict[tuple[Any, ...], list[str]] = {}
    apart: list[Any] = []
    if isinstance(node, Mapping):
        apart = node.get("supports") or []
        node = {key: value for key, value in node.items() if key != "supports"}
    for each in [*apart, *(node if isinstance(node, list) else [node])]:
        named = each.get("position") or each.get("name")
        found.setdefault(figures(each), []).extend([named] if named else [])
    yield from ((names, said) for said, names in found.items() if said)


def figures(record: Mapping[str, Any]) -> tuple[Any, ...]:
    """Return every value of a record as one text, each under what it is called, its sources last; empty of none."""
    found = list(_values(record))
    values = [each for each in found if each[0][-1] not in _CITED]
    cited = dict.fromkeys(value for path, value in found if path[-1] in _CITED)
    pieces: list[Any] = []
    before = None
    for path, value in [*values, *((("from",), each) for each in cited)]:
        name = figure_name(path)
        lead = f"{'; ' if pieces else ''}{name}: " if name != before else ", "
        pieces += [lead, *words(value)]
        before = name
    return tuple(pieces)


def _values(node: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield the values below a node, a range as one; neither null nor yes and no."""
    if isinstance(node, Mapping):
        low, high = node.get("min"), node.get("max")
        both = low is not None and high is not None
        if both:
            yield path, (*_said(path, low), " to ", *_said(path, high))
        for key, value in node.items():
            left_out = key in _LEFT_OUT and not (key == "blocked" and isinstance(value, str))
            if not left_out and not (both and key in ("min", "max")):
                yield from _values(value, (*path, key))
    elif isinstance(node, list):
        for value in node:
            named = (value.get("position") or value.get("phase")) if isinstance(value, Mapping) else None
            yield from _values(value, (*path, named) if named else path)
    elif isinstance(node, Quantity | str | tuple | float | int) and not isinstance(node, bool) and node != "":
        yield path, _said(path, node)


def _said(path: Path, value: Any) -> tuple[Any, ...]:
    if isinstance(value, float | int):
        return (f"{value * 100:.3g} %" if path[-1] in _PER_CENT else f"{value:.4g}",)
    return (value.replace("_", " "),) if isinstance(value, str) else words(value)


def limits_text(limits: Sequence[Mapping[str, Any]]) -> Text | None:
    """Return the limits in words: once where they are equal at every end, else by position."""
    alike: dict[Text, list[str]] = {}
    for each in limits:
        alike.setdefault(_between(each), []).extend([each["position"]] if each["position"] else [])
    if not alike:
        return None
    said: list[Any] = []
    for between, names in alike.items():
        where = f"{', '.join(names)} " if names and len(alike) > 1 else ""
        said += [f"; {where}" if said else where, *words(between)]
    return tuple(each for each in said if each != "")


def _between(limits: Mapping[str, Any]) -> Text:
    low, high, aim = limits["min"], limits["max"], limits.get("aim")
    said = (low,) if low == high else (low, " to ", high)
    return said if aim is None else (*said, ", aim ", aim)


def joined(items: Sequence[Text], between: str) -> Text:
    """Return texts as one."""
    said: list[Any] = []
    for each in items:
        said += [between if said else "", *words(each)]
    return tuple(said)


def _identity(plan: Plan) -> Iterator[Piece]:
    record = plan.record
    yield Piece("title", "Sources")
    for each in record["sources"]:
        yield Piece("row", f"{each['title']} ({each['kind']})", lead=f"{each['id']}:")
    yield Piece("title", "This card")
    for name in ("id", "revision", "supersedes", "created_at", "sha256", "data_version", "engine_version", "units"):
        if record.get(name) is not None:
            yield Piece("row", str(record[name]), lead=f"{name.replace('_', ' ')}:")
