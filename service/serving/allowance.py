"""What the processes of one server share: whether it is stopping, and how much each key has asked for.

A page of memory made before the processes are forked, so that counting costs no query and the limit is not multiplied
by the number of processes. It is the memory of one machine: several machines count apart.
"""

import fcntl
import mmap
import struct
import tempfile
import threading
import time
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import blake2b
from typing import Final

WINDOW_S: Final = 60
SLOTS: Final = 4096
TRIED: Final = 8
_SLOT: Final = struct.Struct("<QII")  # whose, which window, how many
_HEAD: Final = 16


@dataclass(frozen=True, slots=True)
class Allowance:
    """What is left of a limit: ``allowed`` or not, how many more, until when, [s]."""

    allowed: bool
    limit: int
    left: int
    resets_in_s: int


class Shared:
    """The page. Locked by POSIX record locks, which end with a process that dies, and among threads by a mutex."""

    def __init__(self) -> None:
        self._page = mmap.mmap(-1, _HEAD + SLOTS * _SLOT.size)
        self._file = tempfile.TemporaryFile()  # noqa: SIM115  held as long as the application lives
        weakref.finalize(self, self._file.close)
        self._mutex = threading.Lock()

    @property
    def stopping(self) -> bool:
        """Return whether the server was told to stop and only finishes what is under way."""
        return self._page[0] == 1

    def stop(self) -> None:
        """Tell every process that the server stops."""
        self._page[0] = 1

    def take(self, who: str, limit: int, now_s: float | None = None) -> Allowance:
        """Count one request of a key in the current minute and return what is left of its limit.

        Parameters
        ----------
        limit : int
            Requests a minute, [-]
        """
        at_s = time.time() if now_s is None else now_s
        window = int(at_s // WINDOW_S)
        tag = int.from_bytes(blake2b(who.encode(), digest_size=8).digest())
        with self._locked():
            place = self._place(tag, window)
            owner, of_window, count = _SLOT.unpack_from(self._page, place)
            count = count + 1 if (owner, of_window) == (tag, window) else 1
            _SLOT.pack_into(self._page, place, tag, window, min(count, 2**32 - 1))
        resets_in_s = max(1, round((window + 1) * WINDOW_S - at_s))
        return Allowance(count <= limit, limit, max(0, limit - count), resets_in_s)

    def _place(self, tag: int, window: int) -> int:
        """Return where the key is counted: its slot, else one whose window is over, else the last one tried."""
        free = None
        for step in range(TRIED):
            place = _HEAD + (tag + step) % SLOTS * _SLOT.size
            owner, of_window, _ = _SLOT.unpack_from(self._page, place)
            if (owner, of_window) == (tag, window):
                return place
            if free is None and of_window != window:
                free = place
        return place if free is None else free

    @contextmanager
    def _locked(self) -> Iterator[None]:
        with self._mutex:
            fcntl.lockf(self._file, fcntl.LOCK_EX)
            try:
                yield
            finally:
                fcntl.lockf(self._file, fcntl.LOCK_UN)
