"""Importing stays: all or nothing, the same file twice changes nothing, and each row that may not stand says why.

A stay that runs on record and comes again with its removal is ended; nothing else that is stored is changed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from service.history.attributes import attributes_of, attributes_text
from service.history.stays import Fault, Stay, faults
from service.store.queries import assets
from service.store.queries.attributes import attribute_types
from service.store.queries.stay_import import END, TOLD, end_stays, insert_stays, stays_on_record
from service.store.unit_of_work import Event, Tx
from service.use_cases.attributes.name import name_attributes
from service.use_cases.stays.attributes import Settled, settled
from service.use_cases.stays.faults import RowFault, counts
from service.use_cases.stays.import_places import placed_stays
from service.use_cases.stays.import_read import MOST_REPORTED, Read, refusal
from service.use_cases.stays.lines import LENGTHS, STAY_COLUMNS

MEMBERS: Final = tuple(f"{name[:-3]}_nm" if name in LENGTHS else name for name in STAY_COLUMNS)


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
    names: Mapping[str, str]

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
            "counts": counts(self.notes),
            "notes": [note.record(self.names.get(note.column)) for note in self.notes[:MOST_REPORTED]],
        }


def import_stays(tx: Tx, read: Read, *, create_assets: bool, accept_unknown: bool = False) -> ImportResult:
    """Store the stays that are new, and end those on record that come with their removal.

    All faults are found before anything is refused: a row with one is set aside, the others are looked at further.

    Parameters
    ----------
    accept_unknown : bool
        Take designations that nobody here can read as they are, with a note; else they are faults.

    Raises
    ------
    CannotEvaluate
        ``import_refused`` with a report row by row.
    Conflict
        Another transaction stored or ended a stay of the same position meanwhile.
    """
    assets.keep_as_they_are(tx, {stay.asset for stay in read.stays})
    if not accept_unknown:
        read = read.without(read.unknown)
    read, places, created, added, events = placed_stays(tx, read, create_assets=create_assets)
    read, attributes = _settled_attributes(tx, read)
    new, ends, notes, found = _compared(tx, read, places)
    if read.faults or found:
        raise refusal(read.sent, [*read.faults, *found])
    events += name_attributes(tx, attributes.new)
    end_stays(tx, {stay_id: read.stays[number] for number, stay_id in ends.items()})
    insert_stays(tx, [read.stays[number] for number in new], places)
    events += [_ended(read.stays[number], stay_id) for number, stay_id in ends.items()]
    counted = {"created": len(new), "closed": len(ends), "unchanged": read.sent.rows - len(new) - len(ends)}
    if new or ends:
        data = {"rows": read.sent.rows, **counted, "sha256": read.sha256}
        events.append(Event("stays.imported", "site", tx.site_id, None, None, data))
    every = [*notes, *attributes.notes, *(read.unknown if accept_unknown else ())]
    return ImportResult(
        rows=read.sent.rows,
        **counted,
        assets_created=tuple(created),
        positions_created=added,
        notes=tuple(sorted(every, key=lambda note: note.row)),
        events=tuple(events),
        names=read.sent.names,
    )


def _settled_attributes(tx: Tx, read: Read) -> tuple[Read, Settled]:
    """Put the attributes that came into the stays, held against the names of the site; names are not stored yet."""
    if read.attributes is None:
        return read, Settled([], {}, [], [])
    sent = read.sent
    found = settled(read.attributes, attribute_types(tx), words=sent.words, decimal_comma=sent.decimal_comma)
    for number, text in enumerate(found.texts):
        if read.stays[number].attributes != text:
            read.stays[number] = replace(read.stays[number], attributes=text)
    faults, notes = ([replace(one, row=read.rows[one.row - 1]) for one in each] for each in (found.faults, found.notes))
    return read.without(faults), replace(found, faults=faults, notes=notes)


def _ended(stay: Stay, stay_id: str) -> Event:
    """Return what the journal says of a removal; there is no order, the import itself is the next event."""
    return Event("stay.ended", "stay", stay_id, None, None, {"position": stay.position, "asset": stay.asset})


def _compared(
    tx: Tx, read: Read, places: dict[tuple[str, str], str]
) -> tuple[list[int], dict[int, str], list[RowFault], list[RowFault]]:
    """Return the numbers of the stays that are new, of those that end with the ids on record, notes and faults."""
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
    return new, ends, notes, found


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
    return [read.fault(number, name, code, said) for name, code, said in found]


def _closed(read: Read, number: int) -> RowFault:
    said = "this stay runs on record; it ends with this removal"
    return read.fault(number, "removed_at", "closed", said)


def _difference(read: Read, number: int, sent: Stay, stored: Stay, *, but: Sequence[str]) -> list[RowFault]:
    """Return the first member in which a stay differs from the one of the same external id."""
    for member, column in zip(MEMBERS, STAY_COLUMNS, strict=True):
        before, now = getattr(stored, member), getattr(sent, member)
        if before != now and member != "external_id" and member not in but:
            kept = before.isoformat() if isinstance(before, datetime) else before
            only = "an import ends what runs and changes nothing else"
            said = f"this stay is on record with another {column}: {kept}; {only}"
            return [read.fault(number, column, "differs", said)]
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
        at = read.fault(changed[number], fault.field, fault.code, fault.detail)
        (notes if fault.severity == "note" else wrong).append(at)
    return wrong, notes


def _row_of(fault: Fault, others: int) -> int | None:
    """Return which of the new or ending stays a fault is about; None when it is between stays on record."""
    for number in (fault.stay, fault.against):
        if number is not None and number >= others:
            return number - others
    return None
