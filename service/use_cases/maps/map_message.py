"""From a message to an order and back, by a field map."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate, NotFound, ServiceError, nearest, shown
from service.exchange.field_map import Fault, Mapped, faults_of, field_map
from service.moments import NotAMoment, moment
from service.render.card.shaft_line import shaft_on_record
from service.render.reply import SHORT_WIDTH, WIDTH, reply_source
from service.store import failures
from service.store.queries import field_maps
from service.store.queries.keys import Caller
from service.store.unit_of_work import Tx
from service.use_cases.maps import job_order
from service.use_cases.orders.open import Opening, open_order
from service.use_cases.orders.records import instructions_record, order_line
from service.words import UnitSystem

BUILT_IN: Final[dict[str, Callable[[Tx, Any], dict[str, Any]]]] = {"b2mml-job-order": job_order.order_request}
"""Maps that every site has, by what reads their messages; a map of the same name that a site entered goes before."""
Load = Callable[[Any], dict[str, Any]]
"""From a request to what the edge makes of it; raises CannotEvaluate with ``faults``."""
Tell = Callable[[ServiceError], dict[str, Any]]
"""From an error to the problem document that it would be answered with."""


@dataclass(frozen=True, slots=True)
class KnownMap:
    """A map that messages can be sent to; without an id and a document when it is built in."""

    id: str | None
    name: str
    version: int
    document: dict[str, Any]


def map_named(tx: Tx, name: str) -> KnownMap:
    """Return the map in force of this name.

    Raises
    ------
    NotFound
        The site has none, and none is built in.
    """
    row = field_maps.field_map_in_force(tx, name) if len(name) <= 60 else None
    if row is not None:
        return KnownMap(row.id, row.name, row.version, row.document)
    if name in BUILT_IN:
        return KnownMap(None, name, 1, {})
    near = nearest([name], field_maps.names_of_field_maps(tx) | set(BUILT_IN))
    raise NotFound(f"no field map of this site has the name {shown(name)}{near}; GET /v1/field-maps lists them")


def built_in_request(tx: Tx, known: KnownMap, message: Any, load: Load) -> dict[str, Any] | None:
    """Return the request of a message to a map that is built in, as it is loaded; None for a map of the site.

    Raises
    ------
    CannotEvaluate
        ``mapping_failed``, with every fault by its place in the message; ``invalid``, by its place in the request.
    """
    return None if known.id is not None else load(BUILT_IN[known.name](tx, message))


def request_of(known: KnownMap, message: Any, load: Load) -> dict[str, Any]:
    """Return the request that the map makes of the message, as it is loaded.

    Raises
    ------
    CannotEvaluate
        ``mapping_failed``, with every fault and what the map made so far.
    """
    mapped, given, faults = _evaluated(known.document, message, load)
    if given is not None:
        return given
    raise CannotEvaluate(
        f"{known.name}, version {known.version}: {faults[0].target or 'the request'} {faults[0].detail}"
        + (f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""),
        code="mapping_failed",
        faults=[fault.record() for fault in faults],
        field_map={"name": known.name, "version": known.version},
        mapped_request=mapped.result,
    )


def _evaluated(document: dict[str, Any], message: Any, load: Load) -> tuple[Mapped, dict[str, Any] | None, list[Fault]]:
    """Return what the map made, the request when it is one, else what is wrong with it."""
    mapped = field_map(document).request_of(message)
    if mapped.faults:
        return mapped, None, list(mapped.faults)
    try:
        return mapped, load(mapped.result), []
    except CannotEvaluate as error:
        found = [(each["pointer"].removeprefix("#/"), each["code"], each["detail"]) for each in error.facts["faults"]]
        return mapped, None, [Fault(*each) for each in found][:100]


def reply_of(document: dict[str, Any], opening: Opening, units: UnitSystem) -> dict[str, Any] | None:
    """Return their shape of an order, None when the map has none.

    Raises
    ------
    CannotEvaluate
        ``reply_failed``
    """
    if "outbound" not in document:
        return None
    along = shaft_on_record(opening.revision.inputs)
    record = instructions_record(opening.revision)
    said = document["outbound"]
    widths = {"width": said.get("text_width", WIDTH), "short_width": said.get("short_width", SHORT_WIDTH)}
    source = reply_source(order_line(opening.order), record, units=units, shaft=along, **widths)
    mapped = field_map(document).reply_of(source)
    if mapped is None:
        return None
    if mapped.faults:
        first = mapped.faults[0]
        found = [fault.record() for fault in mapped.faults]
        raise CannotEvaluate(f"{first.target} {first.detail}", code="reply_failed", faults=found)
    return mapped.result


def trial(
    tx: Tx, caller: Caller, units: UnitSystem, document: dict[str, Any], message: Any, *, load: Load, tell: Tell
) -> dict[str, Any]:
    """Return what the map would do with a message: nothing is stored."""
    mapped, given, faults = _evaluated(document, message, load)
    tried: dict[str, Any] = {
        "mapped_request": mapped.result,
        "unmapped": mapped.unmapped,
        "status": None,
        "reply": None,
    }
    found = [fault.record() for fault in faults]
    if given is not None:
        savepoint = tx.connection.begin_nested()
        try:
            with failures.translated():
                opening = open_order(tx, given, units=caller.units, blade_set=caller.blade_set)
            tried["status"] = 201 if opening.events else 200
            tried["reply"] = reply_of(document, opening, units)
        except ServiceError as error:
            told = tell(error)
            tried["status"] = told["status"]
            found += told["errors"] or [{"pointer": "#", "code": told["code"], "detail": told["detail"]}]
        finally:
            savepoint.rollback()
    return tried | {"problems": found}


def refuse_draft(document: dict[str, Any]) -> None:
    """Refuse a map that is only tried, when its expressions cannot be read.

    Raises
    ------
    CannotEvaluate
        ``field_map_refused``, with every fault.
    """
    found = [fault.record() for fault in faults_of(document)]
    if found:
        raise _refused([{**fault, "pointer": f"#/map/{fault['pointer'].removeprefix('#/')}"} for fault in found])


def refuse_map(document: dict[str, Any], load: Load) -> None:
    """Refuse a map whose expressions cannot be read, or whose samples do not become what they must.

    Raises
    ------
    CannotEvaluate
        ``field_map_refused``, with every fault.
    """
    found = [fault.record() for fault in faults_of(document)]
    if not found:
        for number, sample in enumerate(document["samples"]):
            mapped, _, faults = _evaluated(document, sample["message"], load)
            found += [
                {"pointer": f"#/samples/{number}/request/{fault.target}", "code": fault.code, "detail": fault.detail}
                for fault in faults
            ]
            found += [
                {
                    "pointer": f"#/samples/{number}/request{place}",
                    "code": "sample_differs",
                    "detail": "comes out otherwise",
                }
                for place in list(differences_at(mapped.result, sample["request"]))[:20]
                if not faults
            ]
    if found:
        raise _refused(found)


def _refused(found: list[dict[str, Any]]) -> CannotEvaluate:
    more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
    detail = f"{found[0]['pointer'].removeprefix('#/')}: {found[0]['detail']}{more}"
    return CannotEvaluate(detail, code="field_map_refused", faults=found[:100])


def differences_at(found: Any, expected: Any, path: str = "") -> Iterator[str]:
    """Yield the JSON Pointers at which two JSON values differ."""
    if isinstance(found, dict) and isinstance(expected, dict):
        for name in dict.fromkeys((*expected, *found)):
            below = f"{path}/{name.replace('~', '~0').replace('/', '~1')}"
            if (name in found) != (name in expected):
                yield below
            else:
                yield from differences_at(found[name], expected[name], below)
    elif isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        for number, (one, other) in enumerate(zip(found, expected, strict=True)):
            yield from differences_at(one, other, f"{path}/{number}")
    elif json.dumps(found) != json.dumps(expected) and not _same_moment(found, expected):
        yield path


def _same_moment(found: Any, expected: Any) -> bool:
    """Return whether two texts name the same moment, each with an offset of its own."""
    try:
        return moment(found) == moment(expected)
    except NotAMoment:
        return False
