"""Whether anything was committed to the embedded database, told without asking it.

In WAL mode every commit of any process rewrites the header of the index of the log, in the file ``-shm`` that all
connections map (https://www.sqlite.org/walformat.html, 2.1: ``iChange``, ``mxFrame`` and checksums, twice). Reading
those bytes takes no lock and lets no other thread in. ``PRAGMA data_version`` tells the same, but gives the interpreter
away to the other threads each time and then waits for it.
"""

import mmap
import sqlite3
from pathlib import Path
from typing import Final

HEADER_BYTES: Final = 96


class Changes:
    """Watches one database file; the connection that is held keeps the mapped file in use."""

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        self._connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        self._header: mmap.mmap | None = None
        try:
            with Path(f"{path}-shm").open("rb") as file:
                self._header = mmap.mmap(file.fileno(), HEADER_BYTES, access=mmap.ACCESS_READ)
        except (OSError, ValueError):  # not in WAL mode (yet)
            self._header = None

    @property
    def mark(self) -> bytes | int:
        """Return what differs after each commit.

        Raises
        ------
        sqlite3.Error
            It cannot be told now.
        """
        if self._header is not None:
            return self._header[:HEADER_BYTES]
        found: int = self._connection.execute("PRAGMA data_version").fetchone()[0]
        return found

    def close(self) -> None:
        """Let go of the file."""
        if self._header is not None:
            self._header.close()
        self._connection.close()
