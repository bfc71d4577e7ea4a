"""A JobOrder of B2MML V7 (IEC 62264-4 job order) as JSON: what it says, in plain values. Nothing is looked up here.

Read: ID, HierarchyScope, EquipmentRequirement and PhysicalAssetRequirement with their children, JobOrderParameter,
PublishedDate, StartTime, WorkType, Command, DispatchStatus. Not read: personnel, material, segments, work master.
Names and shapes are those of the JSON schema of B2MML V07 (2023-07-11): an identifier, a text or a time is the value
itself or an object with it in ``$``. One object where the schema has an array is read as an array of one.
B2MML is used courtesy of MESA International.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from service.errors import CannotEvaluate, shown
from service.exchange.functions import MappingFault, date

SYSTEM: Final = "b2mml"
"""Name of the sender where the parameter SourceSystem gives none"""
KINDS: Final = {"replacement": "replacement", "inspection": "inspection"}
PLACE_PROPERTIES: Final = ("position", "equipmentposition", "functionallocation", "location")
"""Properties of a requirement whose value names the position; our own list, the standard leaves them to the parties"""
HIGHER_LEVELS: Final = ("Enterprise", "Site", "Area", "ProcessCell", "ProductionLine", "ProductionUnit", "WorkCenter")
"""EquipmentLevel of a requirement that names where the machine stands, not the machine"""
OTHER_WORK: Final = ("Production", "Quality", "Inventory")
OPENING_COMMANDS: Final = ("Start", "Other")
ENDED: Final = ("Cancelled", "Completed", "Aborted", "Closed")
TOOL: Final = "Tool"
MOST_REQUIREMENTS: Final = 60
LONGEST: Final = 80
_PLACE: Final = "#/JobOrder"


@dataclass(frozen=True, slots=True)
class Requirement:
    """A piece of equipment or a physical asset that the order asks for.

    ``ids`` are its EquipmentID or PhysicalAssetID, ``places`` what its properties and its location name,
    ``number`` its own ID, ``within`` whether it is the child of another.
    """

    pointer: str
    number: str
    ids: tuple[str, ...]
    places: tuple[str, ...]
    passed_over: bool
    within: bool


@dataclass(frozen=True, slots=True)
class JobOrder:
    """What a job order says."""

    system: str
    number: str
    kind: str | None
    opened_at: str | None
    scope: tuple[str, ...]
    equipment: tuple[Requirement, ...]
    assets: tuple[Requirement, ...]


def refusal(*faults: tuple[str, str, str]) -> CannotEvaluate:
    """Return the error that a job order cannot be understood; each fault is pointer, code and sentence."""
    found = [{"pointer": pointer, "code": code, "detail": detail} for pointer, code, detail in faults]
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    pointer, _, detail = faults[0]
    return CannotEvaluate(
        f"{pointer.removeprefix('#/')}: {detail}{more}", code="mapping_failed", faults=found[:100]
    )  # fmt: skip


def job_order(message: Any) -> JobOrder:
    """Return what a message ``{"JobOrder": {...}}`` says.

    Raises
    ------
    CannotEvaluate
        ``mapping_failed``: no job order, none of maintenance, one that is not to be begun, no number, a time without
        its offset from UTC, an activity that is not known.
    """
    given = message.get("JobOrder") if isinstance(message, dict) else None
    if not isinstance(given, dict):
        raise refusal((_PLACE, "required", 'is required: a message is {"JobOrder": {"ID": ...}}'))
    parameters = _parameters(given)
    faults: list[tuple[str, str, str]] = [*_not_ours(given)]
    number = _text(given.get("ID"))
    if not number:
        faults.append((f"{_PLACE}/ID", "required", "is required: the number of the job order"))
    kind, opened_at = _kind(parameters, faults), _opened_at(given, faults)
    if faults:
        raise refusal(*faults)
    return JobOrder(
        system=parameters.get("SourceSystem", SYSTEM),
        number=number,
        kind=kind,
        opened_at=opened_at,
        scope=tuple(_scope(given.get("HierarchyScope"))),
        equipment=tuple(_requirements(given, "EquipmentRequirement", "EquipmentID", "EquipmentUse")),
        assets=tuple(_requirements(given, "PhysicalAssetRequirement", "PhysicalAssetID", "PhysicalAssetUse")),
    )


def _not_ours(given: dict[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield why no work is opened for this order."""
    work, command, status = (_text(given.get(name)) for name in ("WorkType", "Command", "DispatchStatus"))
    if work in OTHER_WORK:
        yield f"{_PLACE}/WorkType", "not_maintenance", f"{work} is no work of maintenance; only Maintenance is opened"
    if command and command not in OPENING_COMMANDS:
        detail = f"{shown(command)} opens no work order; end one by POST /v1/work-orders/{{id}}/cancellation"
        yield f"{_PLACE}/Command", "not_to_be_opened", detail
    if status in ENDED:
        yield f"{_PLACE}/DispatchStatus", "not_to_be_opened", f"a job order that is {status} is not opened"


def _kind(parameters: dict[str, str], faults: list[tuple[str, str, str]]) -> str | None:
    said = parameters.get("MaintenanceActivity")
    if said is not None and said.lower() not in KINDS:
        detail = f"MaintenanceActivity is Replacement or Inspection, not {shown(said)}"
        faults.append((f"{_PLACE}/JobOrderParameter", "unknown_key", detail))
    return None if said is None else KINDS.get(said.lower())


def _opened_at(given: dict[str, Any], faults: list[tuple[str, str, str]]) -> str | None:
    for member in ("PublishedDate", "StartTime"):
        if _text(given.get(member)):
            try:
                return date(_text(given[member]))
            except MappingFault as fault:
                said = fault.detail.partition(";")[0]
                detail = f"{said}: write the offset, 2026-01-07T06:30:00-05:00 or Z" if ";" in fault.detail else said
                faults.append((f"{_PLACE}/{member}", fault.code, detail))
                return None
    return None


def _parameters(given: dict[str, Any]) -> dict[str, str]:
    """Return the values of the parameters by their ID, the first of each."""
    found: dict[str, str] = {}
    for each in _objects(given.get("JobOrderParameter")):
        values = [_text(value.get("ValueString")) for value in _objects(each.get("Value"))]
        if values and values[0]:
            found.setdefault(_text(each.get("ID")), values[0])
    return found


def _scope(given: Any) -> Iterator[str]:
    """Yield the equipment of a hierarchy scope, the outermost first."""
    while isinstance(given, dict):
        if _text(given.get("EquipmentID")):
            yield _text(given["EquipmentID"])
        given = given.get("HierarchyScopeChild")


def _requirements(given: dict[str, Any], name: str, ids: str, use: str) -> Iterator[Requirement]:
    """Yield the requirements of one kind, each before its children."""
    left: list[tuple[str, dict[str, Any], bool]] = _numbered(given, name, _PLACE, within=False)
    seen = 0
    while left:
        pointer, each, within = left.pop(0)
        seen += 1
        if seen > MOST_REQUIREMENTS:
            raise refusal((f"{_PLACE}/{name}", "too_many", f"has more than {MOST_REQUIREMENTS} requirements"))
        level = _text(each.get("EquipmentLevel"))
        yield Requirement(
            pointer=pointer,
            number=_text(each.get("ID")),
            ids=tuple(_texts(each.get(ids))),
            places=tuple(_places(each, f"{name}Property")),
            passed_over=level in HIGHER_LEVELS or _text(each.get(use)) == TOOL,
            within=within,
        )
        left[:0] = _numbered(each, f"{name}Child", pointer, within=True)


def _numbered(given: dict[str, Any], name: str, at: str, *, within: bool) -> list[tuple[str, dict[str, Any], bool]]:
    return [(f"{at}/{name}/{n}", each, within) for n, each in enumerate(_objects(given.get(name)))]


def _places(given: dict[str, Any], properties: str) -> Iterator[str]:
    """Yield what a requirement says of its place: by its properties, then by its location."""
    for each in _objects(given.get(properties)):
        if _text(each.get("ID")).replace(" ", "").replace("_", "").lower() in PLACE_PROPERTIES:
            yield from (_text(value.get("ValueString")) for value in _objects(each.get("Value")))
    for member in ("PhysicalLocation", "OperationalLocation"):
        location = given.get(member)
        if isinstance(location, dict) and _text(location.get("LocationType")) != "Description":
            yield _text(location.get("Location"))


def _objects(given: Any) -> list[dict[str, Any]]:
    return [each for each in _many(given) if isinstance(each, dict)]


def _texts(given: Any) -> Iterator[str]:
    yield from (text for text in map(_text, _many(given)) if text)


def _many(given: Any) -> list[Any]:
    return given if isinstance(given, list) else [] if given is None else [given]


def _text(given: Any) -> str:
    """Return an identifier, a text or a time; empty where there is none, or one longer than any name of ours."""
    if isinstance(given, dict):
        given = given.get("$")
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        return ""
    text = str(given).strip()
    return text if len(text) <= LONGEST else ""
