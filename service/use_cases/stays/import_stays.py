"""Importing stays: all or nothing, the same file twice changes nothing, and each row that may not stand says why.

A stay that runs on record and comes again with its removal is ended; nothing else that is stored is changed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import CannotEvaluate
from service.history.attributes import attributes_of, attributes_text
from service.history.stays import Fault, Stay, faults
from service.mounting.designation import bearing_from_designation
from service.store.queries import assets
from service.store.queries.attributes import attribute_types
from service.store.queries.stay_import import END, TOLD, end_stays, insert_stays, positions_by_name, stays_on_record
from service.store.unit_of_work import Event, Tx
from service.use_cases.assets.register import register_asset, replace_shafts
from service.use_cases.attributes.name import name_attributes
from service.use_cases.stays.attributes import Settled, settled
from service.use_cases.stays.cells import MOST_FAULTS, Attributes, RowFault, read_stays
from service.use_cases.stays.lines import LENGTHS, STAY_COLUMNS
from service.use_cases.stays.sources import Sent, sent_stays

MOST_REPORTED: Final = 1_000
MEMBERS: Final = tuple(f"{name[:-3]}_nm" if name in LENGTHS else name for name in STAY_COLUMNS)


@dataclass(frozen=True, slots=True)
class Read:
    """What was sent, read: stays with the ids that came along, and the values as they were sent."""

    sent: Sent
    stays: list[Stay]
    ids: list[str | None]
    attributes: Attributes | None
    sha256: str

    def value(self, row: int, column: str) -> Any:
        """Return a value as it was sent; rows count from 1."""
        values = self.sent.columns.get(column)
        return None if values is None else values[row - 1]


@dataclass(frozen=True, slots=True)
class ImportResult:
    """What an import did, or would do."""

    rows: int
    created: int
    closed: int
    unchanged: int
    assets_created: tuple[str, ...]
    positions_created: int
    notes: tuple[RowFault, ...]
    events: tuple[Event, ...]

    def record(self) -> dict[str, Any]:
        """Return the wire members."""
        return {
            "rows": self.rows,
            "created": self.created,
            "closed": self.closed,
            "unchanged": self.unchanged,
            "assets_created": list(self.assets_created),
            "positions_created": self.positions_created,
            "note_count": len(self.notes),
            "notes": [note.record() for note in self.notes[:MOST_REPORTED]],
        }


def read_import(data: bytes, media: str, zone: str | None) -> Read:
    """Return what was sent, read without looking at what is on record.

    Raises
    ------
    CannotEvaluate
        ``import_refused`` with a report row by row; what ``sent_stays`` refuses; ``unknown_zone``.
    """
    sent = sent_stays(data, media)
    stays, ids, attributes, found = read_stays(sent, None if zone is None else zone_of(zone))
    if found:
        raise refusal(sent.rows, found)
    return Read(sent, stays, ids, attributes, sha256(data).hexdigest())


def zone_of(name: str) -> ZoneInfo:
    """Return a time zone by its name.

    Raises
    ------
    CannotEvaluate
        ``unknown_zone``
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        said = f"{name[:60]!a} is no time zone of the IANA database, such as Europe/Stockholm"
        raise CannotEvaluate(said, code="unknown_zone") from None


def refusal(rows: int, found: Sequence[RowFault]) -> CannotEvaluate:
    """Return the refusal with its report."""
    first = found[0]
    more = " or more" if len(found) >= MOST_FAULTS else ""
    said = (
        f"{len(found)}{more} faults in {rows} rows, nothing is stored; row {first.row}, {first.column}: {first.message}"
    )
    report = [fault.record() for fault in found[:MOST_REPORTED]]
    return CannotEvaluate(said, code="import_refused", rows=rows, fault_count=len(found), report=report)


def import_stays(tx: Tx, read: Read, *, create_assets: bool) -> ImportResult:
    """Store the stays that are new, and end those on record that come with their removal.

    Raises
    ------
    CannotEvaluate
        ``import_refused`` with a report row by row.
    Conflict
        Another transaction stored or ended a stay of the same position meanwhile.
    """
    assets.keep_as_they_are(tx, {stay.asset for stay in read.stays})
    known_assets, places = positions_by_name(tx, (stay.asset for stay in read.stays))
    missing = _missing_places(read, known_assets, places)
    if missing and not create_assets:
        raise refusal(read.sent.rows, missing)
    created, added, events = _create_places(tx, read.stays, known_assets, places) if missing else ([], 0, [])
    if missing:
        _, places = positions_by_name(tx, (stay.asset for stay in read.stays))
        still = _missing_places(read, known_assets | dict.fromkeys(created, ""), places)
        if still:
            raise refusal(read.sent.rows, still)
    attributes = _settle_attributes(tx, read)
    new, ends, notes = _compared(tx, read, places)
    events += name_attributes(tx, attributes.new)
    notes = sorted([*notes, *attributes.notes], key=lambda note: note.row)
    end_stays(tx, {stay_id: read.stays[number] for number, stay_id in ends.items()})
    insert_stays(tx, [read.stays[number] for number in new], places)
    events += [_ended(read.stays[number], stay_id) for number, stay_id in ends.items()]
    counts = {"created": len(new), "closed": len(ends), "unchanged": read.sent.rows - len(new) - len(ends)}
    if new or ends:
        data = {"rows": read.sent.rows, **counts, "sha256": read.sha256}
        events.append(Event("stays.imported", "site", tx.site_id, None, None, data))
    return ImportResult(
        rows=read.sent.rows,
        **counts,
        assets_created=tuple(created),
        positions_created=added,
        notes=tuple(notes),
        events=tuple(events),
    )


def _settle_attributes(tx: Tx, read: Read) -> Settled:
    """Put the attributes that came into the stays, held against the names of the site; names are not stored yet."""
    if read.attributes is None:
        return Settled([], {}, [], [])
    sent = read.sent
    found = settled(read.attributes, attribute_types(tx), words=sent.words, decimal_comma=sent.decimal_comma)
    if found.faults:
        raise refusal(sent.rows, sorted(found.faults, key=lambda fault: fault.row))
    for number, text in enumerate(found.texts):
        if read.stays[number].attributes != text:
            read.stays[number] = replace(read.stays[number], attributes=text)
    return found


def _ended(stay: Stay, stay_id: str) -> Event:
    """Return what the journal says of a removal; there is no order, the import itself is the next event."""
    return Event("stay.ended", "stay", stay_id, None, None, {"position": stay.position, "asset": stay.asset})


def _missing_places(read: Read, known: dict[str, str], places: dict[tuple[str, str], str]) -> list[RowFault]:
    found = []
    for row, stay in enumerate(read.stays, start=1):
        if stay.place in places:
            continue
        if stay.asset in known:
            said = f"{stay.asset} has no position {stay.position}; add it with PUT /v1/assets, or ?create_assets=true"
            found.append(RowFault(row, "position", read.value(row, "position"), "unknown_position", said))
        else:
            said = f"no asset of this site has the tag {stay.asset}; register it first, or say ?create_assets=true"
            found.append(RowFault(row, "asset", read.value(row, "asset"), "unknown_asset", said))
    return found


def _create_places(
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


def _compared(
    tx: Tx, read: Read, places: dict[tuple[str, str], str]
) -> tuple[list[int], dict[int, str], list[RowFault]]:
    """Return the numbers of the stays that are new, of those that end with the ids on record, and the notes.

    Raises
    ------
    CannotEvaluate
        ``import_refused``
    """
    on_record = stays_on_record(
        tx,
        position_ids=(places[stay.place] for stay in read.stays),
        external_ids=(stay.external_id for stay in read.stays if stay.external_id is not None),
        ids=(stay_id for stay_id in read.ids if stay_id is not None),
    )
    by_external = {stay.external_id: one for one, stay in on_record.items() if stay.external_id is not None}
    found: list[RowFault] = []
    new: list[int] = []
    ends: dict[int, str] = {}
    for number, (stay, stay_id) in enumerate(zip(read.stays, read.ids, strict=True)):
        identity = stay.external_id or stay_id
        same = by_external.get(identity or "")
        if same is None and stay.external_id is None and stay_id in on_record:
            same = stay_id
        if same is None:
            read.stays[number] = replace(stay, external_id=identity) if stay.external_id is None else stay
            new.append(number)
            continue
        if _comes_with_its_removal(stay, on_record[same]):
            ends[number] = same
            found += _contradiction(read, number, stay, on_record[same])
            read.stays[number] = stay = _with_what_was_known(stay, on_record[same])
        found += _difference(read, number, stay, on_record[same], but=_told(on_record[same]) if number in ends else ())
    changed = sorted((*new, *ends))
    ended = set(ends.values())
    own = [read.stays[number] for number in changed]
    touched = {stay.place for stay in own}, {stay.serial for stay in own if stay.serial}
    others = [
        stay
        for one, stay in on_record.items()
        if one not in ended and (stay.place in touched[0] or stay.serial in touched[1])
    ]
    wrong, notes = _checked(read, changed, [*others, *own], len(others), tx.now)
    found += wrong
    notes += [_closed(read, number) for number in ends]
    if found:
        raise refusal(read.sent.rows, sorted(found, key=lambda fault: fault.row))
    return new, ends, sorted(notes, key=lambda note: note.row)


def _comes_with_its_removal(sent: Stay, stored: Stay) -> bool:
    return stored.removed_at is None and sent.removed_at is not None


def _with_what_was_known(sent: Stay, stored: Stay) -> Stay:
    """Return a stay that ends, with what is on record of how it ran where its removal does not say it."""
    known = {name: getattr(stored, name) for name in TOLD if getattr(sent, name) is None}
    if sent.attributes is not None:
        values = {**attributes_of(stored.attributes), **attributes_of(sent.attributes)}
        known["attributes"] = attributes_text(values)
    return replace(sent, **known)


def _told(stored: Stay) -> tuple[str, ...]:
    """Return what a removal may say anew: the batch only where none is on record."""
    return (*END, *(name for name in TOLD if name != "batch" or stored.batch is None))


def _contradiction(read: Read, number: int, sent: Stay, stored: Stay) -> list[RowFault]:
    """Return in what a removal contradicts how the bearing ran when it was last seen."""
    found = []
    if stored.as_of is not None and sent.removed_at is not None and sent.removed_at < stored.as_of:
        said = f"on record this stay was running still at {stored.as_of.isoformat()}"
        found.append(("removed_at", "removed_before_as_of", said))
    before, now = stored.operating_hours, sent.operating_hours
    if before is not None and now is not None and now < before:
        said = f"on record this stay had {before:g} operating hours already; at removal it cannot have fewer"
        found.append(("operating_hours", "younger_than_before", said))
    return [RowFault(number + 1, name, read.value(number + 1, name), code, said) for name, code, said in found]


def _closed(read: Read, number: int) -> RowFault:
    said = "this stay runs on record; it ends with this removal"
    return RowFault(number + 1, "removed_at", read.value(number + 1, "removed_at"), "closed", said)


def _difference(read: Read, number: int, sent: Stay, stored: Stay, *, but: Sequence[str]) -> list[RowFault]:
    """Return the first member in which a stay differs from the one of the same external id."""
    for member, column in zip(MEMBERS, STAY_COLUMNS, strict=True):
        before, now = getattr(stored, member), getattr(sent, member)
        if before != now and member != "external_id" and member not in but:
            kept = before.isoformat() if isinstance(before, datetime) else before
            only = "an import ends what runs and changes nothing else"
            said = f"this stay is on record with another {column}: {kept}; {only}"
            return [RowFault(number + 1, column, read.value(number + 1, column), "differs", said)]
    return []


def _checked(
    read: Read, changed: list[int], stays: list[Stay], others: int, now: datetime
) -> tuple[list[RowFault], list[RowFault]]:
    """Return what is wrong with the stays that are new or end, alone and beside others, and what is worth a note."""
    wrong: list[RowFault] = []
    notes: list[RowFault] = []
    for fault in faults(stays, now=now):
        number = _row_of(fault, others)
        if number is None:
            continue
        row, column = changed[number] + 1, fault.field
        at = RowFault(row, column, read.value(row, column), fault.code, fault.detail)
        (notes if fault.severity == "note" else wrong).append(at)
    return wrong, notes


def _row_of(fault: Fault, others: int) -> int | None:
    """Return which of the new or ending stays a fault is about; None when it is between stays on record."""
    for number in (fault.stay, fault.against):
        if number is not None and number >= others:
            return number - others
    return None
