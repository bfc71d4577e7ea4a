"""What 1,000 sites with 10,000 positions each need, computed from what is measured here.

    python -m tests.benchmarks.sizing [--sites 1000] [--years 10] ... [--machines 1000]

Every assumption is an argument (``--help``); every number says what it is computed from. What is measured comes from
``footprint``: bytes of rows, processor time of requests, memory. Asserts nothing.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from math import ceil
from typing import Any

from tests.benchmarks import footprint
from tests.benchmarks.footprint import ANALYSED_STAYS, Footprint

GIB = 2**30
KEPT_FOR_REPEATS = "idempotency_keys"


def said(default: float, words: str) -> Any:
    """Return a field with its words."""
    return field(default=default, metadata={"words": words})


@dataclass(frozen=True)
class Assumed:
    """What is assumed, in words beside each; every one is an argument."""

    sites: float = said(1_000, "sites")
    positions: float = said(10_000, "positions of a site")
    replacements: float = said(0.2, "bearings replaced per position and year (a mean life of five years)")
    orders: float = said(1.5, "work orders per replacement (inspections and cancelled ones included)")
    years: float = said(10, "years of history kept")
    reads: float = said(20, "times that an order's instructions are read: by people, phones and the maintenance system")
    poll_s: float = said(30, "seconds between two questions of each site for what is new")
    analyses: float = said(50, "questions about lives that a site asks a day")
    hours: float = said(4_000, "hours of a year in which orders are opened (two shifts on five days)")
    peak: float = said(10, "busiest minutes beside the mean of those hours: shutdowns, Monday mornings")
    busy: float = said(0.5, "share of a core that may be busy at the peak")
    bloat: float = said(1.4, "room of dead rows and half empty pages beside freshly written tables")
    wal_gib: float = said(64, "disk for the write-ahead log, a slow archive or replica included")
    hot: float = said(0.05, "share of the data that is asked for again and again and should be in memory")
    pool: float = said(10, "CAPSADDLE_POOL_SIZE: most connections of a worker")
    worker_growth: float = said(2.0, "memory of a worker at work beside one at rest")


@dataclass(frozen=True)
class Line:
    """One number and where it comes from."""

    what: str
    value: float
    unit: str
    source: str


def needs(assumed: Assumed, found: Footprint) -> list[Line]:
    """Return what is needed, each number after those it is computed from."""
    positions = assumed.sites * assumed.positions
    orders_a_year = positions * assumed.replacements * assumed.orders
    machines, kept_orders = positions / 2, orders_a_year * assumed.years
    machine_b = sum(found.machine_bytes.values())
    order_b = sum(size for name, size in found.order_bytes.items() if name != KEPT_FOR_REPEATS)
    fresh_gib = (machines * machine_b + kept_orders * order_b) / GIB
    disk_gib = fresh_gib * assumed.bloat + assumed.wal_gib
    orders_s = orders_a_year / assumed.hours / 3600 * assumed.peak
    reads_s, polls_s = orders_s * assumed.reads, assumed.sites / assumed.poll_s
    analyses_s = assumed.sites * assumed.analyses / (assumed.hours / 365 * 3600) * assumed.peak
    stays = assumed.positions * (1 + assumed.replacements * assumed.years)
    size = stays / ANALYSED_STAYS  # the time of an analysis grows with the stays of the site
    rates = (
        (orders_s, found.order_life, 1),
        (reads_s, found.instructions, 1),
        (polls_s, found.page, 1),
        (analyses_s, found.analysis, size),
    )
    web = sum(rate * cost.web_s * times for rate, cost, times in rates) / assumed.busy
    database = sum(rate * cost.database_s * times for rate, cost, times in rates) / assumed.busy
    workers = max(2, ceil(web))
    connections = workers * assumed.pool
    worker_gib = workers * found.worker_mib * assumed.worker_growth / 1024
    database_gib = fresh_gib * assumed.hot + connections * found.backend_mib / 1024
    return [
        Line("positions", positions, "", "sites x positions"),
        Line("work orders a year", orders_a_year, "", "positions x replacements x orders"),
        Line("a machine of two positions", machine_b, "bytes", "measured: growth of all tables"),
        Line("a completed order", order_b, "bytes", "measured: growth of all tables but answers kept 7 days"),
        Line("data", fresh_gib, "GiB", "machines (positions / 2) and orders x years, by their measured bytes"),
        Line("disk of the database", disk_gib, "GiB", "data x bloat + wal_gib"),
        Line("orders at the peak", orders_s, "1/s", "orders a year / hours x peak"),
        Line("writes at the peak", orders_s * found.requests_per_order, "1/s", "orders x measured writes of one"),
        Line("instructions read at the peak", reads_s, "1/s", "orders at the peak x reads"),
        Line("polls", polls_s, "1/s", "sites / poll_s"),
        Line("analyses at the peak", analyses_s, "1/s", "sites x analyses a day, in the hours of a day, x peak"),
        Line("stays of a site", stays, "", "positions x (1 + replacements x years)"),
        Line("web cores", web, "", "rates x measured processor time of the worker / busy"),
        Line("database cores", database, "", "rates x measured processor time of PostgreSQL / busy"),
        Line("workers", workers, "", "one for each web core, two at least"),
        Line("connections", connections, "", "workers x pool"),
        Line("memory of the workers", worker_gib, "GiB", "workers x measured memory x worker_growth"),
        Line("memory of the database", database_gib, "GiB", "data x hot + connections x measured memory of one"),
    ]


def report(assumed: Assumed, found: Footprint) -> Iterator[str]:
    """Yield assumptions and results as tables."""
    yield "| assumed | | |\n|---|---|---|"
    for each in fields(Assumed):
        yield f"| {each.name} | {getattr(assumed, each.name):,g} | {each.metadata['words']} |"
    yield "\n| needed | | from |\n|---|---|---|"
    for line in needs(assumed, found):
        yield f"| {line.what} | {rounded(line.value)} {line.unit} | {line.source} |"


def rounded(value: float) -> str:
    """Return a number for the table: three digits, those before the point whole."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def main() -> None:
    """Measure, compute and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.sizing")
    for each in fields(Assumed):
        words = f"{each.metadata['words']} ({each.default:g})"
        parser.add_argument(f"--{each.name.replace('_', '-')}", type=float, default=each.default, help=words)
    parser.add_argument("--machines", type=int, default=1000, help="machines and orders that are measured")
    given = vars(parser.parse_args())
    found = footprint.taken(given.pop("machines"))
    print("Measured\n")
    for line in (*footprint.report(found), "\nComputed\n", *report(Assumed(**given), found)):
        print(line)


if __name__ == "__main__":
    main()
