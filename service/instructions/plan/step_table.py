"""The steps as data: ``data/*.toml``, read once and refused when a step could not be said.

A step has its text in three levels: ``brief`` is one line of at most 60 characters, ``standard`` at most 35 words, and
``full`` holds the sentences that a new hand reads after the standard ones. Several steps may have one id, each for
another way of doing it; at one position at most one of them applies.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from service.errors import TableError
from service.findings import Source
from service.instructions.plan.messages import table
from service.reference.tables import provenance
from service.rules import rules
from service.sentences import Place, Sentence, sentences
from service.words import LEVELS

BRIEF_CHARACTERS: Final = 60
STANDARD_WORDS: Final = 35
TITLE_LIMIT: Final = 40
HOLDS: Final = range(1, 10)
_STEP_NUMBER: Final = re.compile(r"^no_[a-z0-9_]+$")
_MEMBERS: Final = frozenset(
    (
        *("id", "phase", "per", "title", "when", "hold", "record", *LEVELS, "each"),
        *("tools", "parts", "rule", "sources", "after"),
    )
)
_RECORD_MEMBERS: Final = frozenset(("kind", "dimension", "min", "max", "aim", "form"))
_FILES: Final = ("clear", "as_found", "strip", "check", "mount", "place", "close", "run")
PER: Final = ("once", "each", "held", "free")


@dataclass(frozen=True, slots=True)
class RecordTemplate:
    """What is written down at a step: its kind, dimension, and the facts that limit it."""

    kind: str
    dimension: str | None = None
    min: str | None = None
    max: str | None = None
    aim: str | None = None
    form: str | None = None


@dataclass(frozen=True, slots=True)
class StepTemplate:
    """One step of the work before a machine is known. ``per``: the only ends it is for; () for any."""

    id: str
    phase: str
    title: str
    texts: Mapping[str, tuple[Sentence, ...]]
    each: tuple[Sentence, ...]
    rule: str
    per: tuple[str, ...] = ()
    when: tuple[str, ...] = ()
    hold: int | None = None
    record: RecordTemplate | None = None
    tools: tuple[Sentence, ...] = ()
    parts: tuple[Sentence, ...] = ()
    sources: tuple[Sentence, ...] = ()
    after: str | None = None


@dataclass(frozen=True, slots=True)
class Phase:
    """One part of the work: its title, and the cautions that stand once at its head."""

    id: str
    title: str
    cautions: tuple[Sentence, ...]


def step_template(given: Mapping[str, Any]) -> StepTemplate:
    """Return the step written in a table.

    Raises
    ------
    TableError
        A member is unknown or missing, a text too long, a placeholder not a fact, phase or rule not one of ours.
    """
    name = given.get("id")
    unknown = set(given) - _MEMBERS
    if unknown:
        raise TableError(f"step {name}: unknown member {', '.join(sorted(unknown))}")
    lacking = [member for member in ("id", "phase", "title", "brief", "standard", "rule") if not given.get(member)]
    if lacking:
        raise TableError(f"step {name}: lacks {', '.join(lacking)}")
    per = given.get("per", ())
    step = StepTemplate(
        id=given["id"],
        phase=given["phase"],
        title=given["title"],
        texts={level: sentences(given.get(level, ())) for level in LEVELS},
        each=sentences(given.get("each", ())),
        rule=given["rule"],
        per=(per,) if isinstance(per, str) else tuple(per),
        when=tuple(given.get("when", ())),
        hold=given.get("hold"),
        record=_record(given),
        tools=sentences(given.get("tools", ())),
        parts=sentences(given.get("parts", ())),
        sources=sentences(given.get("sources", ())),
        after=given.get("after"),
    )
    _check_words(step)
    _check_texts(step)
    return step


def _check_words(step: StepTemplate) -> None:
    if len(step.title) > TITLE_LIMIT or not step.title.isascii():
        raise TableError(f"step {step.id}: a title is at most {TITLE_LIMIT} characters of ASCII")
    if step.phase not in phases():
        raise TableError(f"step {step.id}: unknown phase {step.phase}")
    if not set(step.per) <= set(PER):
        raise TableError(f"step {step.id}: per is one of {', '.join(PER)}")
    if step.rule not in rules():
        raise TableError(f"step {step.id}: {step.rule} is not a rule")
    if step.hold is not None and step.hold not in HOLDS:
        raise TableError(f"step {step.id}: a hold is 1 to 9")


def _check_texts(step: StepTemplate) -> None:
    last = step.texts["brief"][-1]
    if last.names or last.when:
        raise TableError(f"step {step.id}: the last brief text has no places and no conditions")
    for each in _all_sentences(step):
        checked_places(f"step {step.id}", each)
    for each in step.texts["brief"]:
        checked_brief(f"step {step.id}", each)
    checked_standard(f"step {step.id}", step.texts["standard"])


def _all_sentences(step: StepTemplate) -> Iterable[Sentence]:
    for group in (*step.texts.values(), step.each, step.tools, step.parts, step.sources):
        for each in group:
            yield from each.branches()


def checked_places(where: str, given: Sentence) -> None:
    """Refuse a sentence with a placeholder that is no fact.

    Raises
    ------
    TableError
        A placeholder is unknown.
    """
    for each in given.branches():
        unknown = sorted(name for name in each.names if name not in typical_facts() and not _STEP_NUMBER.match(name))
        if unknown:
            raise TableError(f"{where}: unknown placeholder {', '.join(unknown)}")


def checked_brief(where: str, given: Sentence) -> None:
    """Refuse a brief text that is too long when filled in with typical values.

    Raises
    ------
    TableError
        It is longer than 60 characters.
    """
    for each in given.branches():
        text = typically(each)
        if len(text) > BRIEF_CHARACTERS:
            raise TableError(f"{where}: brief has {len(text)} characters, at most {BRIEF_CHARACTERS}: {text}")


def checked_standard(where: str, given: tuple[Sentence, ...]) -> None:
    """Refuse a standard text that is too long: what is always said, with the longest that may be said besides.

    Raises
    ------
    TableError
        It is longer than 35 words.
    """
    always = sum(_words(each) for each in given if not each.when)
    sometimes = max((_words(each) for each in given if each.when), default=0)
    if always + sometimes > STANDARD_WORDS:
        raise TableError(f"{where}: standard has {always + sometimes} words, at most {STANDARD_WORDS}")


def _words(given: Sentence) -> int:
    return max(len(typically(each).split()) for each in given.branches())


def typically(given: Sentence) -> str:
    """Return a sentence filled in with typical values."""
    return "".join(
        str(typical_facts().get(part.name, "170")) if isinstance(part, Place) else part for part in given.parts
    )


@cache
def typical_facts() -> Mapping[str, str]:
    """Return a typical value, as it is printed, of each fact that a sentence may speak of."""
    return {name: str(value) for name, value in table("facts")["typical"].items()}


def _record(given: Mapping[str, Any]) -> RecordTemplate | None:
    record = given.get("record")
    if record is None:
        return None
    if set(record) - _RECORD_MEMBERS or "kind" not in record:
        raise TableError(f"step {given['id']}: a record has kind, dimension, min, max and aim")
    return RecordTemplate(**record)


@cache
def phases() -> Mapping[str, Phase]:
    """Return the parts of the work in their order."""
    return {
        each["id"]: Phase(each["id"], each["title"], sentences(each.get("cautions", ())))
        for each in table("phases")["phase"]
    }


@cache
def built_in_steps() -> tuple[StepTemplate, ...]:
    """Return the steps of the built-in tables."""
    return tuple(step_template(each) for name in _FILES for each in table(name).get("step", ()))


@cache
def sources() -> Mapping[str, Source]:
    """Return the sources that steps cite beside those of the calculations, by id."""
    own = [Source(each["id"], each["title"], each["kind"]) for each in table("sources")["source"]]
    shafts = [provenance(f"shaft_tolerances_{name}").source for name in ("iso286", "inch")]
    return {each.id: each for each in (*own, *shafts)}


def with_site_steps(steps: tuple[StepTemplate, ...], own: Iterable[Mapping[str, Any]]) -> tuple[StepTemplate, ...]:
    """Return the steps with a site's own: one of the same id replaces all of that id, another comes after one.

    Raises
    ------
    TableError
        A step cannot be said, or ``after`` names no step.
    """
    result = list(steps)
    for each in map(step_template, own):
        ids = [step.id for step in result]
        if each.id in ids:
            first = ids.index(each.id)
            result = [step for step in result if step.id != each.id]
            result.insert(first, each)
        elif each.after in ids:
            result.append(each)
        else:
            raise TableError(f"step {each.id}: after names no step")
    return tuple(result)
