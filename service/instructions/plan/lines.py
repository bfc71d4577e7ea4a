"""The lines of a plan before they have numbers and words: which steps apply, for which ends, in which order."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.instructions.plan.added_steps import stop_template
from service.instructions.plan.facts import Known, order_known, position_known
from service.instructions.plan.scene import Scene
from service.instructions.plan.step_table import StepTemplate
from service.instructions.plan.walk import ONCE, case_of, per_of, positions_of, walks
from service.record import Record
from service.sentences import holds

NUMBER_STEP: Final = 10


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the card: a step, the ends it is for (() where it is done once), and its STOP code."""

    template: StepTemplate
    per: str
    positions: tuple[str, ...]
    stop: str | None = None


@dataclass(frozen=True)
class Places:
    """What is known of the order and of each position."""

    order: Known
    at: Mapping[str, Known]

    @classmethod
    def of(cls, scene: Scene, placement: Record | None) -> "Places":
        """Return what is known, worked out once for all steps."""
        order = order_known(scene, placement)
        return cls(order, {name: position_known(scene, placement, name, order) for name in scene.at})


def lines_of(templates: Sequence[StepTemplate], scene: Scene, places: Places) -> list[Line]:
    """Return the lines that apply, in the walking order of the case; a site's own steps after those they name."""
    by_id: dict[str, list[StepTemplate]] = {}
    for template in templates:
        by_id.setdefault(template.id, []).append(template)
    added = [template for template in templates if template.after is not None]
    found: list[Line] = []
    for stop in walks()[case_of(scene)]:
        own = [template for step in stop.steps for template in by_id.get(step, ())]
        lines = _lines(own, scene, places, positions_of(scene, stop.scope), stop.scope)
        found += lines
        if lines:
            found += [each for one in added if one.after in stop.steps for each in _site_lines(one, scene, places)]
    return found


def _lines(
    templates: Iterable[StepTemplate], scene: Scene, places: Places, positions: tuple[str, ...], scope: str
) -> list[Line]:
    if scope in (ONCE, "spans") and not positions:
        return [Line(each, ONCE, ()) for each in templates if holds(each.when, places.order.flags)][:1]
    found, done = [], set[str]()
    for template in templates:
        here = tuple(name for name in positions if name not in done and holds(template.when, places.at[name].flags))
        done |= set(here)
        if here:
            found.append(Line(template, per_of(scene, here), here))
    return sorted(found, key=lambda line: positions.index(line.positions[0]))


def _site_lines(template: StepTemplate, scene: Scene, places: Places) -> list[Line]:
    """Return the line of a step that the site added: once, or for the ends that it names."""
    wanted = template.per[0] if template.per else ONCE
    scope = {"each": "worked" if scene.job.kind == "replacement" else "all"}.get(wanted, wanted)
    return _lines([template], scene, places, positions_of(scene, scope), scope)


def with_stops(lines: list[Line], blocked: Iterable[Mapping[str, Any]], scene: Scene) -> list[Line]:
    """Return the lines with one STOP for each code that blocks the work, before the step that must not be begun."""
    result = list(lines)
    by_code: dict[str, set[str | None]] = {}
    for finding in blocked:
        by_code.setdefault(finding["code"], set()).add(finding.get("position"))
    for code, named in by_code.items():
        template, before = stop_template(code)
        positions = () if None in named else tuple(name for name in scene.in_order if name in named)
        ids = [each.template.id for each in result]
        first = next((ids.index(step) for step in before if step in ids), 0)
        result.insert(first, Line(template, per_of(scene, positions), positions, code))
    return result


def step_numbers(lines: Sequence[Line]) -> dict[str, str]:
    """Return the number of the first line of each step, as the facts ``no_<id>`` of the texts."""
    numbers: dict[str, str] = {}
    for count, line in enumerate(lines, start=1):
        numbers.setdefault(f"no_{line.template.id.replace('-', '_')}", str(NUMBER_STEP * count))
    return numbers
