"""The steps as data: ``data/*.toml``, read once and refused when a step could not be said."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Any, Final

from service.errors import TableError
from service.findings import Source
from service.instructions.plan.template import Sentence, sentence
from service.reference.tables import provenance
from service.rules import rules

PHASES: Final = (
    "isolate",
    "as_found",
    "removal",
    "parts_check",
    "shaft_and_housing",
    "layout",
    "mount",
    "lower",
    "settings",
    "rings",
    "grease",
    "cap",
    "torque",
    "turn",
    "alignment",
    "run_in",
    "hand_back",
)
"""In the order of work (rule I1); the alert data stand before the first step, in the plan itself."""

IMPLIED_FACTS: Final = {"roles_open": ("open_roles",), "spherical_roller": ("clearance_class",)}
"""Facts that are known wherever a condition holds."""

SCOPES: Final = ("order", "position", "support", "locating", "free")
"""Once an order; for each bearing worked on, locating first; for each support of the shaft; for those of one role."""

TITLE_LIMIT: Final = 40
ORDER_FACTS: Final = frozenset(
    (
        *("asset_tag", "asset_name", "shaft_name", "positions", "blade_set"),
        *("run_in_rise_min", "run_in_rise_max", "soft_foot_limit"),
    )
)
"""Known for every order; ``position`` too, where a step is for one. Others need ``without`` or ``optional``."""
_MEMBERS: Final = frozenset(
    (
        *("id", "phase", "per", "title", "text", "when", "hold_point", "record"),
        *("cautions", "tools", "parts", "rule", "sources", "after"),
    )
)
_RECORD_MEMBERS: Final = frozenset(("kind", "dimension", "min", "max"))
_FILES: Final = ("before", "parts_and_shaft", "mounting", "closing", "running")


@dataclass(frozen=True, slots=True)
class RecordTemplate:
    """What is written down at a step: its kind, dimension, and the facts that limit it."""

    kind: str
    dimension: str | None = None
    min: str | None = None
    max: str | None = None


@dataclass(frozen=True, slots=True)
class StepTemplate:
    """One step of the work before a machine is known."""

    id: str
    phase: str
    per: str
    title: str
    text: tuple[Sentence, ...]
    rule: str
    when: tuple[str, ...] = ()
    hold_when: tuple[str, ...] | None = None
    record: RecordTemplate | None = None
    cautions: tuple[Sentence, ...] = ()
    tools: tuple[Sentence, ...] = ()
    parts: tuple[Sentence, ...] = ()
    sources: tuple[Sentence, ...] = ()
    after: str | None = None
    always: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Members that say the same for every order, said: most of a plan, so it is not said anew each time."""


def step_template(given: Mapping[str, Any]) -> StepTemplate:
    """Return the step written in a table.

    Raises
    ------
    TableError
        A member is unknown or missing, the title too long, the phase or rule not one of ours.
    """
    name = given.get("id")
    unknown = set(given) - _MEMBERS
    if unknown:
        raise TableError(f"step {name}: unknown member {', '.join(sorted(unknown))}")
    lacking = [member for member in ("id", "phase", "per", "title", "text", "rule") if not given.get(member)]
    if lacking:
        raise TableError(f"step {name}: lacks {', '.join(lacking)}")
    _check_words(given)
    hold = given.get("hold_point", False)
    for member in ("text", "cautions", "tools", "parts"):
        for each in _sentences(given.get(member, ())):
            _check_sayable(given, each)
    said = {member: _sentences(given.get(member, ())) for member in ("text", "cautions", "tools", "parts", "sources")}
    return StepTemplate(
        id=given["id"],
        phase=given["phase"],
        per=given["per"],
        title=given["title"],
        text=said["text"],
        rule=given["rule"],
        when=tuple(given.get("when", ())),
        hold_when=None if hold is False else () if hold is True else tuple(hold),
        record=_record(given),
        cautions=said["cautions"],
        tools=said["tools"],
        parts=said["parts"],
        sources=tuple(replace(each, optional=True) for each in said["sources"]),
        after=given.get("after"),
        always={
            member: tuple(each.fixed for each in sentences if each.fixed)
            for member, sentences in said.items()
            if all(each.fixed is not None and not each.when for each in sentences)
        },
    )


def _check_words(given: Mapping[str, Any]) -> None:
    name, title = given["id"], given["title"]
    if len(title) > TITLE_LIMIT or not title.isascii():
        raise TableError(f"step {name}: a title is at most {TITLE_LIMIT} characters of ASCII")
    if given["phase"] not in PHASES:
        raise TableError(f"step {name}: unknown phase {given['phase']}")
    if given["per"] not in SCOPES:
        raise TableError(f"step {name}: per is one of {', '.join(SCOPES)}")
    if given["rule"] not in rules():
        raise TableError(f"step {name}: {given['rule']} is not a rule")


def _check_sayable(given: Mapping[str, Any], each: Sentence) -> None:
    """Refuse a sentence that could not be said, in a plan where one of its facts is not known."""
    always = ORDER_FACTS if given["per"] == "order" else ORDER_FACTS | {"position"}
    if each.without is not None:
        _check_sayable(given, each.without)
    elif not each.optional and not each.names <= always | _implied(given, each):
        unsure = ", ".join(sorted(each.names - always))
        raise TableError(f"step {given['id']}: say what to do without {unsure}")


def _implied(given: Mapping[str, Any], each: Sentence) -> frozenset[str]:
    """Return the facts that a condition makes sure of."""
    conditions = (*given.get("when", ()), *each.when)
    return frozenset(fact for condition in conditions for fact in IMPLIED_FACTS.get(condition, ()))


def _record(given: Mapping[str, Any]) -> RecordTemplate | None:
    record = given.get("record")
    if record is None:
        return None
    if set(record) - _RECORD_MEMBERS or "kind" not in record:
        raise TableError(f"step {given['id']}: a record has kind, dimension, min and max")
    return RecordTemplate(**record)


def _sentences(given: str | Mapping[str, Any] | Iterable[str | Mapping[str, Any]]) -> tuple[Sentence, ...]:
    if isinstance(given, str | Mapping):
        return (sentence(given),)
    return tuple(sentence(each) for each in given)


@cache
def built_in_steps() -> tuple[StepTemplate, ...]:
    """Return the steps of the built-in tables, in the order of work.

    Raises
    ------
    TableError
        An id comes twice, or the phases run backwards.
    """
    steps = tuple(step_template(each) for name in _FILES for each in _table(name).get("step", ()))
    ids = [step.id for step in steps]
    twice = {each for each in ids if ids.count(each) > 1}
    if twice:
        raise TableError(f"steps named twice: {', '.join(sorted(twice))}")
    order = [PHASES.index(step.phase) for step in steps]
    if order != sorted(order):
        raise TableError("the phases of the step tables run backwards")
    return steps


@cache
def sources() -> Mapping[str, Source]:
    """Return the sources that steps cite beside those of the calculations, by id."""
    own = [Source(each["id"], each["title"], each["kind"]) for each in _table("sources")["source"]]
    shafts = [provenance(f"shaft_tolerances_{name}").source for name in ("iso286", "inch")]
    return {each.id: each for each in (*own, *shafts)}


@cache
def questions() -> Mapping[str, Mapping[str, Any]]:
    """Return how each missing fact is asked for, by the last part of its field."""
    return {field: each for each in _table("questions")["question"] for field in each["fields"]}


@cache
def stops() -> Mapping[str, Mapping[str, Any]]:
    """Return title and rule of the STOP step of each blocked code."""
    return {each["code"]: each for each in _table("questions")["stop"]}


def with_site_steps(steps: tuple[StepTemplate, ...], own: Iterable[Mapping[str, Any]]) -> tuple[StepTemplate, ...]:
    """Return the steps with a site's own: one of the same id replaces, another comes after the step it names.

    Raises
    ------
    TableError
        A step cannot be said, or ``after`` names no step.
    """
    result = list(steps)
    for each in map(step_template, own):
        ids = [step.id for step in result]
        if each.id in ids:
            result[ids.index(each.id)] = each
        elif each.after in ids:
            result.insert(ids.index(each.after) + 1, each)
        else:
            raise TableError(f"step {each.id}: after names no step")
    return tuple(result)


def _table(name: str) -> Mapping[str, Any]:
    path = files("service.instructions.plan") / "data" / f"{name}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))
