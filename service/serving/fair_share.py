"""The threads of one process, shared fairly: no key holds more than its share of them while others call.

Counted for each process by itself: a process answers as many requests at once as it has threads, whoever sent them.
"""

import threading
import time
from typing import Final

OTHERS_CALL_S: Final = 60.0
"""How long ago another key may have called for its next call to be expected."""


class Held:
    """One request and the thread that it holds until ``end``."""

    def __init__(self, share: "FairShare") -> None:
        self._share = share
        self._key: str | None = None
        self._ended = False

    def claim(self, key: str) -> bool:
        """Say whose request it is; return whether it may go on."""
        self._key = key
        return self._share._claimed(key)

    def end(self) -> None:
        """Give the thread back; once is enough."""
        if not self._ended:
            self._ended = True
            self._share._given_back(self._key)


class FairShare:
    """Who holds the threads of this process.

    Parameters
    ----------
    threads : int
        Threads that answer requests, [-]
    share : float
        Part of them that one key may hold when threads are short and others call, 0..1, [-]
    """

    retry_after_s: Final = 1

    def __init__(self, threads: int, share: float) -> None:
        self.most = max(1, int(threads * share))
        self._not_short = threads - max(1, threads // 4)  # a quarter is kept free for those who hold less
        self._lock = threading.Lock()
        self._running = 0
        self._by_key: dict[str, int] = {}
        self._last: list[tuple[str, float]] = []  # the two keys that called last, each with when

    def begin(self) -> Held:
        """Count a request that has just got its thread."""
        with self._lock:
            self._running += 1
        return Held(self)

    def _claimed(self, key: str) -> bool:
        now_s = time.monotonic()
        with self._lock:
            held = self._by_key[key] = self._by_key.get(key, 0) + 1
            self._last = [(key, now_s), *(each for each in self._last if each[0] != key)][:2]
            short = self._running > self._not_short
            return held <= self.most or not short or not self._others_call(key, now_s)

    def _others_call(self, key: str, now_s: float) -> bool:
        if len(self._by_key) > 1:
            return True
        return any(other != key and now_s - at_s < OTHERS_CALL_S for other, at_s in self._last)

    def _given_back(self, key: str | None) -> None:
        with self._lock:
            self._running -= 1
            if key is not None:
                left = self._by_key[key] - 1
                if left:
                    self._by_key[key] = left
                else:
                    del self._by_key[key]
