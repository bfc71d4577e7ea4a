"""Hold points that a plan gets because a fact is missing (ask) or because it must not be done like this (STOP)."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from service.errors import Text
from service.instructions.closing import stop_id
from service.instructions.plan.assembly import Step
from service.instructions.plan.step_table import TITLE_LIMIT, questions, stops
from service.instructions.plan.template import joined
from service.units import Quantity

_DEFAULT_PHASE: Final = "as_found"
_CONFIRMATION: Final = {"kind": "confirmation"}


def stop_steps(blocked: Iterable[Mapping[str, Any]]) -> list[Step]:
    """Return one STOP step for each finding that blocks the work, before anything is taken apart."""
    return [_stop(each) for each in blocked]


def _stop(finding: Mapping[str, Any]) -> Step:
    known = stops().get(finding["code"], {})
    parts: list[str | Quantity] = [*_parts(finding["detail"]), *_end(finding["detail"])]
    parts += _facts(finding)
    ways = finding["ways_out"]
    for count, way in enumerate(ways, start=1):
        lead = " Ways out: " if count == 1 else " Or: "
        parts += [lead, *_parts(way), *_end(way)]
    parts.append(" Go on only when this has been settled and written down.")
    return Step(
        id=stop_id(finding["code"]),
        phase=_DEFAULT_PHASE,
        position=finding.get("position"),
        title=known.get("title") or f"STOP: {finding['code'].replace('_', ' ')}"[:TITLE_LIMIT],
        text=joined(parts),
        hold_point=True,
        record=_CONFIRMATION,
        cautions=(),
        tools=(),
        parts=(),
        rule=known.get("rule", "I5"),
        sources=(),
    )


def _facts(finding: Mapping[str, Any]) -> Iterator[str | Quantity]:
    """Yield the quantities that decided and that the sentence does not name yet."""
    said = _parts(finding["detail"])
    others = {name: fact for name, fact in finding["facts"].items() if isinstance(fact, Quantity) and fact not in said}
    for count, (name, fact) in enumerate(others.items()):
        yield from (", " if count else " Facts: ", f"{name.replace('_', ' ')} ", fact)
    if others:
        yield "."


def question_steps(missing: Sequence[Mapping[str, Any]], present: frozenset[str], kind: str) -> list[Step]:
    """Return one hold point for each fact that is missing, one for all positions that lack it.

    Parameters
    ----------
    missing : sequence of records {field, position?, why, how}
    present : set of str
        Ids of the steps of the plan, for facts that a step asks for already.
    kind : str
        Kind of the order: an inspection does not ask for what only mounting needs.
    """
    grouped: dict[str, list[Mapping[str, Any]]] = {}
    for each in missing:
        known = _question(each["field"])
        not_needed = kind != "replacement" and known.get("replacement_only", False)
        if not not_needed and known.get("covered_by") not in present:
            grouped.setdefault(known.get("title") or each["field"], []).append(each)
    return [_ask(group) for group in grouped.values()]


def _question(field: str) -> Mapping[str, Any]:
    """Return how a field is asked for: by the last part, or the last two, that the table knows."""
    path = [part for part in field.split("/") if not part.isdigit()]
    for end in range(len(path), 0, -1):
        for name in ("/".join(path[max(end - 2, 0) : end]), path[end - 1]):
            if name in questions():
                return questions()[name]
    return {}


def _ask(group: Sequence[Mapping[str, Any]]) -> Step:
    field = group[0]["field"]
    known = _question(field)
    last = next((part for part in reversed(field.split("/")) if not part.isdigit()), field)
    names = list(dict.fromkeys(each["position"] for each in group if each.get("position")))
    parts: list[str | Quantity] = [f"{', '.join(names)}: "] if names else []
    for count, (why, how) in enumerate(dict.fromkeys((each["why"], each["how"]) for each in group)):
        parts += [" " if count else "", *_sentence("Why: ", why), " ", *_sentence("How: ", how)]
    title = known.get("title") or f"Find out: {last.replace('_', ' ')}"
    return Step(
        id=f"ask-{known.get('fields', [last])[0].replace('/', '-')}",
        phase=known.get("phase", _DEFAULT_PHASE),
        position=names[0] if len(names) == 1 else None,
        title=title[:TITLE_LIMIT],
        text=joined(parts),
        hold_point=True,
        record=_CONFIRMATION,
        cautions=(),
        tools=(),
        parts=(),
        rule=known.get("rule", "I5"),
        sources=(),
    )


def _sentence(lead: str, text: Text) -> Iterator[str | Quantity]:
    yield lead
    yield from _parts(text)
    yield from _end(text)


def _parts(text: Text) -> tuple[str | Quantity, ...]:
    return (text,) if isinstance(text, str) else text


def _end(text: Text) -> tuple[str, ...]:
    """Return the full stop that a sentence lacks."""
    parts = _parts(text)
    last = parts[-1] if parts else ""
    return () if isinstance(last, str) and last.endswith((".", "?", "!")) else (".",)
