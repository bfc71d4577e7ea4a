"""What a completion tells of how bearings run, beside their readings: lubricant, batch, speed, load, attributes."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from service.history.attributes import Value, attributes_of, attributes_text
from service.store.queries.stays import StayRow

WORDS: Final = ("lubricant", "batch")
NUMBERS: Final = {"speed": "speed_rpm", "temperature": "temperature_degc", "radial_load": "radial_load_n"}
ATTRIBUTES: Final = "attributes"
BEARINGS: Final = ("removed", "installed")


def told_members(given: Mapping[str, Any], stay: StayRow | None = None) -> dict[str, Any]:
    """Return the columns of a stay that are told; attributes beside those that ``stay`` has on record."""
    members: dict[str, Any] = {name: given[name] for name in WORDS if name in given}
    members |= {column: float(given[name].value) for name, column in NUMBERS.items() if name in given}
    if ATTRIBUTES in given:
        before = {} if stay is None else attributes_of(stay.attributes)
        members[ATTRIBUTES] = attributes_text({**before, **given[ATTRIBUTES]})
    return members


def told_at_removal(given: Mapping[str, Any], stay: StayRow) -> dict[str, Any]:
    """Return what a removal tells of how the bearing ran: it stands before what was thought at fitting, but the batch.

    The batch is what was read on the bearing or its box when it was fitted; it is taken where none was.
    """
    members = told_members(given, stay)
    if stay.batch is not None:
        members.pop("batch", None)
    return members


def told_attributes(positions: Iterable[Mapping[str, Any]]) -> Iterator[tuple[str, Mapping[str, Value]]]:
    """Yield the attributes in a completion or a correction, with the path of each."""
    for number, each in enumerate(positions):
        for member in BEARINGS:
            if ATTRIBUTES in each.get(member, {}):
                yield f"positions/{number}/{member}/{ATTRIBUTES}", each[member][ATTRIBUTES]
