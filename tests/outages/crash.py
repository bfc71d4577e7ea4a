"""Kill the server at random while clients work, and see that everything acknowledged is there.

python -m tests.outages.crash --database sqlite --kills 30
python -m tests.outages.crash --database postgresql --kills 30 --database-kills 5
"""

import argparse
import random
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from tests.outages.accounts import faults
from tests.outages.clients import Account, Client, Clock, Follower, Mechanic
from tests.outages.postgres import Postgres, postgres, programs
from tests.system.servers import Server, free_port

ALIVE_S = (0.05, 1.5)
"""How long a server lives after it is ready, at the least and at the most, [s]."""
FINISHES_WITHIN_S = 120.0


@dataclass
class Outcome:
    """What a run was, and what was found."""

    account: Account
    kills: int = 0
    database_kills: int = 0
    recovered_s: list[float] = field(default_factory=list)
    took_s: float = 0.0
    faults: list[str] = field(default_factory=list)

    def report(self) -> str:
        """Return the figures in lines."""
        account = self.account
        readings = sum(len(each) for each in account.readings.values())
        lines = [
            f"server killed {self.kills} times, database {self.database_kills} times, in {self.took_s:.0f} s",
            f"acknowledged: {len(account.orders)} orders, {readings} readings, {len(account.completions)} completions; "
            f"{len(account.events)} events followed",
            "requests: " + ", ".join(f"{what} {count}" for what, count in sorted(account.tally.items())),
        ]
        if self.recovered_s:
            lines.append(f"database back after {max(self.recovered_s):.1f} s at the most")
        return "\n".join([*lines, f"faults: {len(self.faults)}", *self.faults[:50]])


def crash(
    url: str, *, kills: int, clients: int, workers: int = 1, seed: int = 1, database: Postgres | None = None,
    database_kills: int = 0,
) -> Outcome:  # fmt: skip
    """Run clients against a server that is killed at random; two clients share a machine.

    Parameters
    ----------
    url : str
        A migrated database without a site
    database : Postgres
        The server of the database, when that is killed too, ``database_kills`` times
    """
    chance, begun = random.Random(seed), time.monotonic()
    account, stop, no_more = Account(), threading.Event(), threading.Event()
    key, port = _key(url), free_port()
    server = Server(url, port, workers=workers)
    clocks = [Clock() for _ in range((clients + 1) // 2)]
    mechanics = [
        Mechanic(f"WO-{n}", f"FAN-{n // 2}", clocks[n // 2], server.base_url, key, account, stop)
        for n in range(clients)
    ]
    follower = Follower("follower", server.base_url, key, account, no_more)
    outcome = Outcome(account)
    try:
        for each in (*mechanics, follower):
            each.start()
        targets = ["server"] * kills + ["database"] * database_kills
        chance.shuffle(targets)
        for target in targets:
            time.sleep(chance.uniform(*ALIVE_S))
            if target == "server":
                server.kill()
                outcome.kills += 1
                server = Server(url, port, workers=workers)
            elif database is not None:
                database.kill()
                outcome.database_kills += 1
                time.sleep(chance.uniform(0, 1))
                outcome.recovered_s.append(database.start())
        time.sleep(0.5)
        stop.set()
        _ended(mechanics, account)
        no_more.set()
        _ended([follower], account)
        server.kill()
    finally:
        stop.set()
        no_more.set()
        if server.process.poll() is None:
            server.kill()
    outcome.took_s = time.monotonic() - begun
    outcome.faults = faults(url, account)
    return outcome


def _ended(clients: Sequence[Client], account: Account) -> None:
    for each in clients:
        each.join(FINISHES_WITHIN_S)
        if each.is_alive():
            account.faults.append(f"{each.name} did not come to an end: something is stuck")


def _key(url: str) -> str:
    """Return a key of a new site."""
    database = Database(Settings(database_url=url))
    try:
        sites.create_site(database, "MILL-A", "Mill A", "inch")
        return keys.create_key(database, "MILL-A", ("read", "write"))
    finally:
        database.dispose()


def main() -> int:
    """Run the long form and print its figures."""
    parser = argparse.ArgumentParser(description="Kill the server at random while clients work.")
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--kills", type=int, default=30)
    parser.add_argument("--database-kills", type=int, default=0)
    parser.add_argument("--clients", type=int, default=6)
    parser.add_argument("--seed", type=int, default=time.time_ns() % 10**6)
    given = parser.parse_args()
    print(f"{given.database}, {given.clients} clients, seed {given.seed}", flush=True)
    if given.database == "sqlite":
        with tempfile.TemporaryDirectory(prefix="capsaddle-crash-") as folder:
            url = f"sqlite:///{Path(folder) / 'plant.db'}"
            migrate.upgrade(url)
            outcome = crash(url, kills=given.kills, clients=given.clients, seed=given.seed)
    else:
        where = programs()
        if where is None:
            parser.error("no initdb and postgres were found")
        with postgres(where) as database:
            migrate.upgrade(database.owner_url)
            outcome = crash(
                database.url,
                kills=given.kills,
                clients=given.clients,
                workers=2,
                seed=given.seed,
                database=database,
                database_kills=given.database_kills,
            )
    print(outcome.report())
    return 1 if outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
