"""Times as they are written and read: one writer and one reader, for the wire, files and the journal alike."""

import re
from datetime import UTC, datetime, tzinfo
from typing import Any, Final

EARLIEST_YEAR: Final = 1900
"""Nothing that is entered was done before; such a year is a slip of the pen."""
_RFC_3339: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,12})?(Z|[+-]\d\d:\d\d)?", re.ASCII).fullmatch
_NOT_RFC_3339: Final = "is not an RFC 3339 time such as 2026-01-07T06:30:00Z"
_NOT_A_TIME: Final = "is not a time such as 2026-01-07T06:30:00Z"
LONGEST: Final = 40


class NotAMoment(ValueError):
    """A text that is no time; ``said`` goes on after the text that was sent."""

    def __init__(self, code: str, said: str) -> None:
        self.code, self.said = code, said
        super().__init__(said)


def rfc3339(time: datetime) -> str:
    """Return a time in UTC as the wire writes it, years always four digits (strftime cuts them), microseconds six."""
    return time.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def moment(text: object) -> datetime:
    """Return the moment in UTC that an RFC 3339 time with its offset names.

    Raises
    ------
    NotAMoment
        ``bad_time``, ``time_without_offset``
    """
    if not isinstance(text, str) or not _RFC_3339(text.upper()):
        raise NotAMoment("bad_time", _NOT_RFC_3339)
    try:
        time = datetime.fromisoformat(text.upper())
    except ValueError:
        raise NotAMoment("bad_time", _NOT_RFC_3339) from None
    if time.tzinfo is None:
        raise NotAMoment("time_without_offset", "lacks its offset from UTC (Z or +02:00)")
    try:
        return time.astimezone(UTC)
    except OverflowError:
        raise NotAMoment("bad_time", "is too early or too late for UTC") from None


def moment_in_zone(text: object, zone: tzinfo | None) -> datetime:
    """Return the moment in UTC that a time of a file names; files write times in more ways than the wire.

    Parameters
    ----------
    zone : tzinfo or None
        Whose clocks showed a time that states no offset.

    Raises
    ------
    NotAMoment
        ``bad_time``, ``time_without_offset``; ``ambiguous_time``: the clocks showed it twice or never.
    """
    if not isinstance(text, str) or text[4:5] != "-" or text[7:8] != "-" or len(text) > LONGEST:
        raise NotAMoment("bad_time", _NOT_A_TIME)
    try:
        time = datetime.fromisoformat(text.strip())
        if time.tzinfo is None:
            time = _in_zone(time, zone)
        time = time.astimezone(UTC)
    except NotAMoment:
        raise
    except (ValueError, OverflowError):
        raise NotAMoment("bad_time", _NOT_A_TIME) from None
    if time.year < EARLIEST_YEAR:
        raise NotAMoment("bad_time", f"lies before {EARLIEST_YEAR}")
    return time


def _in_zone(time: datetime, zone: tzinfo | None) -> datetime:
    """Return a time of the site's clocks, when they showed it once and once only."""
    if zone is None:
        said = "lacks its offset from UTC (Z or +02:00); or state the time zone of the site with zone="
        raise NotAMoment("time_without_offset", said)
    first, second = time.replace(tzinfo=zone, fold=0), time.replace(tzinfo=zone, fold=1)
    if first.utcoffset() != second.utcoffset():
        said = "falls into the hour that clocks skip or repeat; give its offset from UTC"
        raise NotAMoment("ambiguous_time", said)
    return first


def in_document(value: Any) -> Any:
    """Return a value as documents keep it: a time as its text, anything else as it is."""
    return rfc3339(value) if isinstance(value, datetime) else value
