"""From lines to the numbered steps of a plan: what is equal is said once, what differs beside each position."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from service.errors import Text
from service.instructions.plan.facts import Known
from service.instructions.plan.lines import NUMBER_STEP, Line, Places, step_numbers
from service.instructions.plan.scene import Scene
from service.instructions.plan.step_table import BRIEF_CHARACTERS, RecordTemplate, phases
from service.sentences import Sentence, said, spaced
from service.units import Quantity

_UNITS: Final = {
    "inch": {"torque": "lbf.ft", "dimension": "in", "distance": "in", "displacement": "in", "temperature": "degF"},
    "metric": {"torque": "N.m", "dimension": "mm", "distance": "mm", "displacement": "mm", "temperature": "degC"},
}


_QUANTITY_CHARACTERS: Final = 10
"""How long a quantity is in print, for judging whether a line is too long, [-]."""


def numbered(lines: Sequence[Line], scene: Scene, places: Places) -> list[dict[str, Any]]:
    """Return the steps as records, numbered 10, 20, 30 ...; the cautions of a phase stand at its first step."""
    numbers = step_numbers(lines)
    steps: list[dict[str, Any]] = []
    headed: set[str] = set()
    for count, line in enumerate(lines, start=1):
        step = _step(line, scene, places, numbers)
        phase = phases()[line.template.phase]
        if phase.id not in headed:
            step["cautions"] = list(_each(phase.cautions, [_with(places.order, numbers)]))
            headed.add(phase.id)
        steps.append({"number": NUMBER_STEP * count, **step})
    return steps


def _with(known: Known, numbers: Mapping[str, str]) -> Known:
    return Known({**known.facts, **numbers}, known.flags, known.position)


def _step(line: Line, scene: Scene, places: Places, numbers: Mapping[str, str]) -> dict[str, Any]:
    template = line.template
    known = [_with(each, numbers) for each in ([places.at[name] for name in line.positions] or [places.order])]
    text, apart = _texts(line, known)
    return {
        "id": template.id,
        "per": line.per,
        "positions": list(line.positions),
        "phase": template.phase,
        "title": template.title,
        "text": text,
        "by_position": apart,
        "hold": None if line.stop else template.hold,
        "stop": line.stop,
        "record": _record(template.record, line, known, scene),
        "cautions": [],
        "tools": list(_each(template.tools, known)),
        "parts": list(_each(template.parts, known)),
        "rule": template.rule,
        "sources": [str(each) for each in _each(template.sources, known)],
    }


def _texts(line: Line, known: Sequence[Known]) -> tuple[dict[str, Text], list[dict[str, Any]]]:
    """Return the text of each level, and what differs between the positions."""
    beside: dict[str, list[Text]] = {each.position or "": [] for each in known}
    differs = _brief_differs(line.template.texts["brief"], known)
    text: dict[str, Text] = {"brief": _brief(line.template.texts["brief"], known)}
    for level in ("standard", "full"):
        once: list[Text] = []
        for sentence in line.template.texts[level]:
            if sentence.fixed and not sentence.when:
                once.append(sentence.fixed)
                continue
            each = [said(sentence, one.facts, one.flags) for one in known]
            if all(one == each[0] for one in each):
                once += [] if each[0] is None else [each[0]]
                continue
            differs = True
            if sentence.apart is not None:
                common = said(sentence.apart, known[0].facts, known[0].flags)
                once += [] if common is None else [common]
                continue
            for one, words in zip(known, each, strict=True):
                if words is not None:
                    beside[one.position or ""].append(words)
        text[level] = spaced(once)
    if differs:
        _add_short(beside, line.template.each, known)
    return text, [{"position": name, "text": spaced(words)} for name, words in beside.items() if words]


def _add_short(beside: Mapping[str, list[Text]], short: Iterable[Sentence], known: Sequence[Known]) -> None:
    """Add the short texts that stand beside a position in place of a sentence that is not equal for all."""
    for sentence in short:
        each = [said(sentence, one.facts, one.flags) for one in known]
        if all(one == each[0] for one in each):
            continue
        for one, words in zip(known, each, strict=True):
            if words is not None:
                beside[one.position or ""].insert(0, words)


def _brief(given: Sequence[Sentence], known: Sequence[Known]) -> Text:
    """Return the first brief text that can be said for all positions alike."""
    for sentence in given:
        each = [said(sentence, one.facts, one.flags) for one in known]
        if each[0] is not None and all(one == each[0] for one in each):
            if _fits(each[0]):
                return each[0]
            continue
        if None not in each and sentence.apart is not None:
            common = said(sentence.apart, known[0].facts, known[0].flags)
            if common is not None:
                return common
    return given[-1].message


def _fits(text: Text) -> bool:
    """Return whether a brief text stays a line; a long name of a position may make it longer than the table knows."""
    parts = (text,) if isinstance(text, str) else text
    return sum(len(part) if isinstance(part, str) else _QUANTITY_CHARACTERS for part in parts) <= BRIEF_CHARACTERS


def _brief_differs(given: Sequence[Sentence], known: Sequence[Known]) -> bool:
    chosen = [next((words for each in given if (words := said(each, one.facts, one.flags))), None) for one in known]
    return any(each != chosen[0] for each in chosen)


def _each(given: Iterable[Sentence], known: Sequence[Known]) -> Iterator[Text]:
    """Yield what the sentences say, each once whatever the number of positions."""
    seen: list[Text] = []
    for sentence in given:
        for one in known:
            text = said(sentence, one.facts, one.flags)
            if text and text not in seen:
                seen.append(text)
                yield text


def _record(record: RecordTemplate | None, line: Line, known: Sequence[Known], scene: Scene) -> dict[str, Any] | None:
    """Return what is written down: its kind, unit, and its limits for each position, where they are known."""
    if record is None:
        return None
    limits = []
    for one in known:
        low = one.facts.get(record.min) if record.min else None
        high = one.facts.get(record.max) if record.max else None
        aim = one.facts.get(record.aim) if record.aim else None
        form = one.facts.get(record.form) if record.form else None
        if isinstance(low, Quantity) and isinstance(high, Quantity):
            found: dict[str, Any] = {"position": one.position if line.positions else None, "min": low, "max": high}
            found["aim"] = aim if isinstance(aim, Quantity) else None
            limits.append(found | ({"form": form} if isinstance(form, Quantity) else {}))
    unit = None if record.dimension is None else _unit(record.dimension, scene)
    return {"kind": record.kind, "unit": unit, "limits": limits}


def _unit(dimension: str, scene: Scene) -> str:
    """Return the unit to write a reading in: the blades' own for a blade, else the site's."""
    system = scene.job.blade_set.system if dimension == "blade" else scene.job.units
    return _UNITS[system]["dimension" if dimension == "blade" else dimension]
