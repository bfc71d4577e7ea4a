"""The annex of the sheets: what is read when there is time. Standard texts of every step; in full also why, and whence.

Nothing here is signed. Numbers stand in both unit systems, the reader's first.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from service.errors import Text
from service.render.card.plain_text import cleaned
from service.render.present import quantity_text, text
from service.render.sheets.scene import Plan
from service.units import Quantity

Kind = Literal["title", "phase", "step", "words", "row"]
FIGURES: Final = ("targets", "arrangement", "placement", "bolting", "base_bolts", "planning")
_LEFT_OUT: Final = frozenset(("missing", "warnings", "sources", "blocked", "blade_table", "position", "name"))


@dataclass(frozen=True, slots=True)
class Piece:
    """A paragraph of the annex; ``lead`` is said in bold before it."""

    kind: Kind
    text: str
    lead: str = ""


def annex(plan: Plan, *, full: bool) -> Iterator[Piece]:
    """Yield the annex: every step in standard words; with ``full`` reasons, unknowns, figures, sources, identity."""
    yield Piece("title", "Every step in full words" if full else "Every step in standard words")
    yield from _steps(plan, full=full)
    if full:
        yield from _settled(plan)
        yield from _listed(plan)
        yield from _figures(plan)
        yield from _identity(plan)


def _said(plan: Plan, words: Any) -> str:
    said = text(words, plan.figures.units) if isinstance(words, str | tuple) else str(words)
    return " ".join(cleaned(said, ascii_only=False).split())


def _steps(plan: Plan, *, full: bool) -> Iterator[Piece]:
    titles = {each["id"]: each["title"] for each in plan.record["phases"]}
    phase = ""
    for step in plan.record["steps"]:
        if step["phase"] != phase:
            phase = step["phase"]
            yield Piece("phase", titles.get(phase, phase.replace("_", " ")))
        for caution in step["cautions"]:
            yield Piece("words", _said(plan, caution), lead="!")
        yield from _step(plan, step, full=full)


def _step(plan: Plan, step: Mapping[str, Any], *, full: bool) -> Iterator[Piece]:
    where = f" ({', '.join(step['positions'])})" if step["positions"] else ""
    hold = f"  HOLD {step['hold']}" if step["hold"] is not None else ""
    said = [_said(plan, step["text"]["standard"])]
    if full and step["text"]["full"]:
        said.append(_said(plan, step["text"]["full"]))
    yield Piece("step", " ".join(said), lead=f"{step['number']} {step['title']}{where}{hold}.")
    for each in step["by_position"]:
        yield Piece("words", _said(plan, each["text"]), lead=f"{each['position']}:")
    for name in ("tools", "parts"):
        if step[name]:
            yield Piece("words", ", ".join(_said(plan, each) for each in step[name]), lead=f"{name}:")
    if full:
        yield Piece("words", "; ".join((step["rule"], *step["sources"])), lead="rule:")


def _settled(plan: Plan) -> Iterator[Piece]:
    """Yield what blocks the work, what is not known, and what may be read later."""
    record = plan.record
    if record["blocked"]:
        yield Piece("title", "STOP")
    for each in record["blocked"]:
        where = f" ({each['position']})" if each.get("position") else ""
        ways = " ".join(f"Way out: {_said(plan, way)}" for way in each["ways_out"])
        yield Piece("step", f"{_said(plan, each['detail'])}. {ways}", lead=f"{each['code']}{where}:")
    if record["missing"]:
        yield Piece("title", "Not known")
    for (field, why, how), names in _grouped(record["missing"]).items():
        where = f" ({', '.join(names)})" if names else ""
        said = f"{_said(plan, why)}. How: {_said(plan, how)}."
        yield Piece("words", said, lead=f"{field.replace('_', ' ')}{where}:")
    if record["warnings"]:
        yield Piece("title", "Worth knowing")
    for each in record["warnings"]:
        yield Piece("words", _said(plan, each["detail"]), lead=f"{each['code']}:")


def _grouped(missing: Sequence[Mapping[str, Any]]) -> dict[tuple[str, Text, Text], list[str]]:
    grouped: dict[tuple[str, Text, Text], list[str]] = {}
    for each in missing:
        names = grouped.setdefault((each["field"], each["why"], each["how"]), [])
        names += [each["position"]] if each.get("position") else []
    return grouped


def _listed(plan: Plan) -> Iterator[Piece]:
    for name, title in (("parts", "Parts"), ("tools", "Tools")):
        given = plan.record.get(name) or ()
        if given:
            yield Piece("title", title)
        for each in given:
            if isinstance(each, Mapping):
                count = f"{each['count']} x " if each.get("count") else ""
                yield Piece("words", f"{count}{_said(plan, each['name'])}", lead="[  ]")
            else:
                yield Piece("words", _said(plan, each), lead="[  ]")


def _figures(plan: Plan) -> Iterator[Piece]:
    yield Piece("title", "Every figure behind the sheets")
    for member in FIGURES:
        given = plan.record.get(member)
        if not given:
            continue
        yield Piece("phase", member.replace("_", " "))
        for path, said in _leaves(plan, given, ()):
            yield Piece("row", said, lead=f"{', '.join(path)}:" if path else "")


def _leaves(plan: Plan, node: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield the path and the words of every figure of a record; a pair of limits as one."""
    if isinstance(node, Mapping):
        if isinstance(node.get("min"), Quantity) and isinstance(node.get("max"), Quantity):
            units = plan.figures.units
            yield path, f"{quantity_text(node['min'], units)} to {quantity_text(node['max'], units)}"
            node = {key: value for key, value in node.items() if key not in ("min", "max")}
        for key, value in node.items():
            if key not in _LEFT_OUT:
                yield from _leaves(plan, value, (*path, key.replace("_", " ")))
    elif isinstance(node, list):
        for number, each in enumerate(node, start=1):
            named = each.get("position") or each.get("name") if isinstance(each, Mapping) else None
            yield from _leaves(plan, each, (*path, named or str(number)))
    elif isinstance(node, Quantity):
        yield path, quantity_text(node, plan.figures.units)
    elif isinstance(node, bool):
        yield path, "yes" if node else "no"
    elif isinstance(node, float):
        yield path, f"{node:.4g}"
    elif isinstance(node, str | tuple | int) and node != "":
        yield path, _said(plan, node)


def _identity(plan: Plan) -> Iterator[Piece]:
    record = plan.record
    yield Piece("title", "Sources")
    for each in record["sources"]:
        yield Piece("row", f"{each['title']} ({each['kind']})", lead=f"{each['id']}:")
    yield Piece("title", "This card")
    for name in ("id", "revision", "supersedes", "created_at", "sha256", "data_version", "engine_version", "units"):
        if record.get(name) is not None:
            yield Piece("row", str(record[name]), lead=f"{name.replace('_', ' ')}:")
