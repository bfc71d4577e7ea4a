"""Entering a version of a field map: its samples are run first, outside of the writer's turn."""

from dataclasses import dataclass
from typing import Any

from service.record import sha256
from service.store.queries import field_maps
from service.store.queries.field_maps import FieldMapRow
from service.store.unit_of_work import Event, Tx
from service.use_cases.found import found
from service.use_cases.maps.map_message import Load, refuse_map


@dataclass(frozen=True, slots=True)
class CheckedMap:
    """A field map whose samples become what they must."""

    name: str
    document: dict[str, Any]


def checked_map(given: dict[str, Any], load: Load) -> CheckedMap:
    """Return a loaded map when it may stand.

    Raises
    ------
    CannotEvaluate
        ``field_map_refused``, with every fault.
    """
    document = {member: value for member, value in given.items() if member != "name"}
    refuse_map(document, load)
    return CheckedMap(given["name"], document)


def enter_map(tx: Tx, given: CheckedMap) -> tuple[FieldMapRow, Event]:
    """Store the next version of a map, in force from now on, and return it with its event."""
    row = field_maps.insert_field_map(tx, name=given.name, document=given.document)
    data = {"name": row.name, "version": row.version}
    return row, Event("field_map.entered", "field_map", row.id, None, sha256(given.document), data)


def map_of(tx: Tx, map_id: str) -> FieldMapRow:
    """Return one version that a path names, or raise NotFound."""
    return found(field_maps.field_map_by_id(tx, map_id), "field map", map_id)
