"""From step tables to the numbered steps of one order, in the order of work (rule I1)."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final, NamedTuple

from service.errors import Text
from service.instructions.plan.facts import Known, Scene, order_known, position_known
from service.instructions.plan.step_table import PHASES, RecordTemplate, StepTemplate
from service.instructions.plan.template import Sentence, filled, holds
from service.units import Quantity

NUMBER_STEP: Final = 10


class Step(NamedTuple):
    """One step of a plan before it has its number."""

    id: str
    phase: str
    position: str | None
    title: str
    text: Text
    hold_point: bool
    record: Mapping[str, Any] | None
    cautions: tuple[Text, ...]
    tools: tuple[Text, ...]
    parts: tuple[Text, ...]
    rule: str
    sources: tuple[str, ...]

    def numbered(self, number: int) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        return {
            "number": number,
            "id": self.id,
            "phase": self.phase,
            "position": self.position,
            "title": self.title,
            "text": self.text,
            "hold_point": self.hold_point,
            "record": None if self.record is None else dict(self.record),
            "cautions": list(self.cautions),
            "tools": list(self.tools),
            "parts": list(self.parts),
            "rule": self.rule,
            "sources": list(self.sources),
        }


def steps_of(templates: Sequence[StepTemplate], scene: Scene) -> list[Step]:
    """Return the steps that apply, phase by phase; within a phase one bearing is finished before the next."""
    places = _places(scene)
    steps: list[Step] = []
    for _, of_phase in groupby(templates, key=lambda each: each.phase):
        for per, group in groupby(of_phase, key=lambda each: each.per):
            together = list(group)
            for known in places[per]:
                steps.extend(_filled(each, known, scene) for each in together if holds(each.when, known.flags))
    return steps


def merged(steps: Iterable[Step], added: Iterable[Step]) -> list[Step]:
    """Return the steps with the added ones at the end of the phase they belong to."""
    extra = list(added)
    result: list[Step] = []
    by_phase = {phase: [step for step in steps if step.phase == phase] for phase in PHASES}
    for phase in PHASES:
        result += by_phase[phase] + [step for step in extra if step.phase == phase]
    return result


def numbered(steps: Iterable[Step]) -> list[dict[str, Any]]:
    """Return the steps as records, numbered 10, 20, 30 ..."""
    return [step.numbered(NUMBER_STEP * count) for count, step in enumerate(steps, start=1)]


def _places(scene: Scene) -> Mapping[str, list[Known]]:
    every = [position_known(scene, each) for each in scene.job.positions]
    worked_on = [each for each in every if "stays" not in each.flags]
    return {
        "order": [order_known(scene)],
        "position": sorted(worked_on, key=_mounting_order),
        "support": every,
        "locating": [each for each in every if "locating" in each.flags],
        "free": [each for each in every if "free" in each.flags],
    }


def _mounting_order(known: Known) -> int:
    """The locating bearing is mounted first, then the free ones, then those whose role is open."""
    return 0 if "locating" in known.flags else 1 if "free" in known.flags else 2


def _filled(template: StepTemplate, known: Known, scene: Scene) -> Step:
    always = template.always
    return Step(
        id=template.id,
        phase=template.phase,
        position=known.position,
        title=template.title,
        text=" ".join(always["text"]) if "text" in always else filled(template.text, known.facts, known.flags),
        hold_point=template.hold_when is not None and holds(template.hold_when, known.flags),
        record=_record(template.record, known, scene),
        cautions=always["cautions"] if "cautions" in always else tuple(_each(template.cautions, known)),
        tools=always["tools"] if "tools" in always else tuple(_each(template.tools, known)),
        parts=always["parts"] if "parts" in always else tuple(_each(template.parts, known)),
        rule=template.rule,
        sources=tuple(
            dict.fromkeys(always["sources"] if "sources" in always else map(str, _each(template.sources, known)))
        ),
    )


def _each(sentences: Iterable[Sentence], known: Known) -> Iterator[Text]:
    for sentence in sentences:
        if sentence.fixed and not sentence.when:
            yield sentence.fixed
            continue
        text = filled((sentence,), known.facts, known.flags)
        if text:
            yield text


def _record(record: RecordTemplate | None, known: Known, scene: Scene) -> dict[str, Any] | None:
    if record is None:
        return None
    found: dict[str, Any] = {"kind": record.kind}
    if record.dimension is None:
        return found
    low = known.facts.get(record.min) if record.min else None
    high = known.facts.get(record.max) if record.max else None
    known_limits = isinstance(low, Quantity) and isinstance(high, Quantity)
    return found | {
        "unit": _unit(record.dimension, scene),
        "limits": {"min": low, "max": high} if known_limits else None,
    }


_UNITS: Final = {
    "inch": {"torque": "lbf.ft", "dimension": "in", "distance": "in", "displacement": "in", "temperature": "degF"},
    "metric": {"torque": "N.m", "dimension": "mm", "distance": "mm", "displacement": "mm", "temperature": "degC"},
}


def _unit(dimension: str, scene: Scene) -> str:
    """Return the unit to write a reading in: the blades' own for a blade, else the site's."""
    system = scene.job.blade_set.system if dimension == "blade" else scene.job.units
    return _UNITS[system]["dimension" if dimension == "blade" else dimension]
