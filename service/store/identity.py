"""Identifiers: UUIDv7, made here and never by the database. They are names, not secrets."""

import os
import threading
import time
from typing import Final
from uuid import UUID

_COUNTER_BITS: Final = 12
_lock = threading.Lock()
_last = 0  # milliseconds and counter of the newest one


def new_id() -> str:
    """Return a new identifier; within a process each one sorts after those before it, whatever the clock does.

    Lists are in the order of identifiers. A clock that was set back stands still here until it has caught up.

    Source
    ------
    RFC 9562, 5.7 (layout); 6.2, method 1 (a counter of fixed length, begun anew with each millisecond with room above).
    """
    global _last
    drawn = os.urandom(10)
    begun = int.from_bytes(drawn[:2]) & 0x7FF  # the highest bit of the counter is left for counting
    now = clock_ms() << _COUNTER_BITS
    with _lock:
        _last = max(now | begun, _last + 1)
        at = _last
    time_ms, counter = at >> _COUNTER_BITS, at & (1 << _COUNTER_BITS) - 1
    rest = int.from_bytes(drawn[2:]) & (1 << 62) - 1
    digits = f"{time_ms << 80 | 0x7 << 76 | counter << 64 | 0b10 << 62 | rest:032x}"
    return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


def clock_ms() -> int:
    """Return the time that identifiers are made from, [ms] since 1970."""
    return time.time_ns() // 1_000_000


def keep_above(time_ms: int) -> None:
    """Make no identifier of this time or earlier, [ms] since 1970."""
    global _last
    with _lock:
        _last = max(_last, time_ms + 1 << _COUNTER_BITS)


def canonical_id(text: str) -> str | None:
    """Return the identifier as it is stored, or None when the text is not one (then nothing has that name)."""
    if len(text) != 36:
        return None
    try:
        known = str(UUID(text))
    except ValueError:
        return None
    return known if known == text.lower() else None  # UUID() takes hyphens anywhere
