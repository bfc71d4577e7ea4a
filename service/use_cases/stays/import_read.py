"""What was sent to an import, read without looking at what is on record; and its refusal, row by row."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.errors import CannotEvaluate
from service.history.stays import Stay
from service.use_cases.stays.cells import Attributes, read_stays
from service.use_cases.stays.faults import MOST_FAULTS, RowFault, counts
from service.use_cases.stays.profile import NONE, Profile
from service.use_cases.stays.sources import Sent, sent_stays

MOST_REPORTED: Final = 1_000
CELLS: Final = ("stays", "rows", "ids", "attributes", "faults", "unknown")


@dataclass(frozen=True, slots=True)
class Read:
    """What was sent, read: the stays of rows without a fault, with their rows and the ids that came along.

    ``faults`` are what was wrong so far; ``unknown`` the rows whose designation nobody here can read.
    """

    sent: Sent
    stays: list[Stay]
    rows: list[int]
    ids: list[str | None]
    attributes: Attributes | None
    faults: list[RowFault]
    unknown: list[RowFault]
    sha256: str

    def value(self, number: int, column: str) -> Any:
        """Return a value of a stay as it was sent; stays count from 0."""
        values = self.sent.columns.get(column)
        return None if values is None else values[self.rows[number] - 1]

    def fault(self, number: int, column: str, code: str, said: str) -> RowFault:
        """Return what is wrong with a stay, or worth a note; stays count from 0."""
        return RowFault(self.rows[number], column, self.value(number, column), code, said)

    def without(self, faults: Sequence[RowFault]) -> "Read":
        """Return what is left when the rows of these faults are set aside, with the faults among those so far."""
        if not faults:
            return self
        bad = {fault.row for fault in faults}
        kept = [number for number, row in enumerate(self.rows) if row not in bad]
        return replace(
            self,
            stays=[self.stays[number] for number in kept],
            rows=[self.rows[number] for number in kept],
            ids=[self.ids[number] for number in kept],
            attributes=None if self.attributes is None else [self.attributes[number] for number in kept],
            faults=[*self.faults, *faults],
        )


def read_import(data: bytes, media: str, zone: str | None, profile: Profile = NONE) -> Read:
    """Return what was sent, read without looking at what is on record.

    Raises
    ------
    CannotEvaluate
        ``import_refused`` with a report, when there are too many faults to look further; what ``sent_stays`` refuses;
        ``unknown_zone``.
    """
    named = zone or profile.zone
    sent = sent_stays(data, media, profile)
    cells = read_stays(sent, None if named is None else zone_of(named))
    if len(cells.faults) >= MOST_FAULTS or not cells.stays:
        raise refusal(sent, cells.faults)
    return Read(sent, **{name: getattr(cells, name) for name in CELLS}, sha256=sha256(data).hexdigest())


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


def refusal(sent: Sent, faults: Sequence[RowFault]) -> CannotEvaluate:
    """Return the refusal with its report."""
    found = sorted(faults, key=lambda fault: fault.row)
    first = found[0]
    more = " or more" if len(found) >= MOST_FAULTS else ""
    place = f"row {first.row}, {first.column}" if first.column else f"row {first.row}"
    said = f"{len(found)}{more} faults in {sent.rows} rows, nothing is stored; {place}: {first.message}"
    report = [fault.record(sent.names.get(fault.column)) for fault in found[:MOST_REPORTED]]
    return CannotEvaluate(
        said, code="import_refused", rows=sent.rows, fault_count=len(found), counts=counts(found), report=report
    )
