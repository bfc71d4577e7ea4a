"""The positions of stays that are imported: those on record, and those that are made for them when asked for."""

from typing import Any, Final

from service.errors import CannotEvaluate, nearest
from service.history.stays import Stay
from service.mounting.designation import bearing_from_designation
from service.store.queries import assets
from service.store.queries.stay_import import positions_by_name
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.register import register_asset, replace_shafts
from service.use_cases.stays.faults import RowFault
from service.use_cases.stays.import_read import Read

MOST_COMPARED: Final = 50  # names that are compared with those that are known


def placed_stays(
    tx: Tx, read: Read, *, create_assets: bool
) -> tuple[Read, dict[tuple[str, str], str], list[str], int, list[Event]]:
    """Return the stays whose positions are known, or were made for them, with what was made."""
    known, places = positions_by_name(tx, (stay.asset for stay in read.stays))
    missing = _missing_places(read, known, places)
    if not missing or not create_assets:
        return read.without(missing), places, [], 0, []
    created, added, events = create_places(tx, read.stays, known, places)
    _, places = positions_by_name(tx, (stay.asset for stay in read.stays))
    read = read.without(_missing_places(read, known | dict.fromkeys(created, ""), places))
    return read, places, created, added, events


def _missing_places(read: Read, known: dict[str, str], places: dict[tuple[str, str], str]) -> list[RowFault]:
    found = []
    near_names: dict[tuple[str, str], str] = {}
    for number, stay in enumerate(read.stays):
        if stay.place in places:
            continue
        if stay.asset in known:
            if stay.place not in near_names and len(near_names) < MOST_COMPARED:
                near_names[stay.place] = nearest(
                    [stay.position], [name for tag, name in places if tag == stay.asset]
                )  # fmt: skip
            near = near_names.get(stay.place, "")
            way_out = "add it with PUT /v1/assets, or ?create_assets=true"
            said = f"{stay.asset} has no position {stay.position}{near}; {way_out}"
            found.append(read.fault(number, "position", "unknown_position", said))
        else:
            said = f"no asset of this site has the tag {stay.asset}; register it first, or say ?create_assets=true"
            found.append(read.fault(number, "asset", "unknown_asset", said))
    return found


def create_places(
    tx: Tx, stays: list[Stay], known: dict[str, str], places: dict[tuple[str, str], str]
) -> tuple[list[str], int, list[Event]]:
    """Register the assets that are missing, and add missing positions to assets with one shaft."""
    wanted: dict[str, dict[str, Stay]] = {}
    for stay in stays:
        if stay.place not in places:
            latest = wanted.setdefault(stay.asset, {}).setdefault(stay.position, stay)
            if stay.installed_at > latest.installed_at:
                wanted[stay.asset][stay.position] = stay
    created: list[str] = []
    events: list[Event] = []
    added = 0
    for tag, of_asset in wanted.items():
        positions = [{"name": name, **_bearing(stay.designation)} for name, stay in of_asset.items()]
        if tag in known:
            events += _add_positions(tx, known[tag], positions)
        else:
            shaft = {"name": "main", "drives": [], "positions": positions}
            _, event = register_asset(tx, {"tag": tag, "name": tag, "shafts": [shaft]})
            created.append(tag)
            events.append(event)
        added += len(positions)
    return created, added, events


def _add_positions(tx: Tx, asset_id: str, positions: list[dict[str, Any]]) -> list[Event]:
    """Add positions to the one shaft of an asset; where it has several, nobody can say to which."""
    before = assets.asset_by_id(tx, asset_id)
    if before is None or len(before.shafts) != 1:
        return []
    shaft = before.shafts[0]
    shafts = [{**shaft, "positions": [*shaft["positions"], *positions]}]
    return [replace_shafts(tx, before, shafts)[1]]


def _bearing(designation: str) -> dict[str, Any]:
    """Return the bearing of a position where its designation can be read, else nothing."""
    try:
        bearing_from_designation(designation)
    except CannotEvaluate:
        return {}
    return {"bearing": {"designation": designation}}
