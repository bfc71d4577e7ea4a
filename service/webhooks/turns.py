"""Whose turn it is in the relay: sites take turns, and none holds more than half of the threads."""

from collections import Counter
from dataclasses import dataclass, field


@dataclass
class Turns:
    """Subscriptions that wait for a thread, and those that have one.

    Parameters
    ----------
    at_once : int
        Subscriptions that are served at the same time, [-]
    """

    at_once: int
    _waiting: dict[str, str] = field(default_factory=dict)  # subscription and its site, the longest waiting first
    _running: dict[str, str] = field(default_factory=dict)
    _began: dict[str, int] = field(default_factory=dict)  # the number of the last turn of a site
    _number: int = 0

    def wait(self, site_id: str, subscription_id: str) -> None:
        """Let a subscription wait for its turn, unless it waits or is served already."""
        if subscription_id not in self._running:
            self._waiting.setdefault(subscription_id, site_id)

    def begin(self) -> tuple[str, str] | None:
        """Return site and subscription whose turn begins now, None while no thread is free or nobody waits.

        The site that had its turn longest ago goes first, and within it who waits longest.
        """
        if not self._waiting or len(self._running) >= self.at_once:
            return None
        of_site = Counter(self._running.values())
        most = max(1, self.at_once // 2)
        free = [site_id for site_id in dict.fromkeys(self._waiting.values()) if of_site[site_id] < most]
        if not free:
            return None
        chosen = min(free, key=lambda site_id: self._began.get(site_id, 0))
        subscription_id = next(each for each, site_id in self._waiting.items() if site_id == chosen)
        self._number += 1
        self._began[chosen] = self._number
        self._running[subscription_id] = self._waiting.pop(subscription_id)
        return chosen, subscription_id

    def end(self, subscription_id: str, *, more: bool) -> None:
        """End a turn; one that has more to do waits again, behind all others."""
        site_id = self._running.pop(subscription_id)
        if more:
            self._waiting[subscription_id] = site_id

    @property
    def idle(self) -> bool:
        """Return whether nobody waits and nobody is served."""
        return not self._waiting and not self._running
