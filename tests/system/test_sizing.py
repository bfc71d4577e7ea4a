"""The arithmetic of ``tests.benchmarks.sizing``, by an example worked by hand."""

import pytest

from tests.benchmarks.footprint import Cost, Footprint, growth
from tests.benchmarks.sizing import Assumed, needs, report

MEASURED = Footprint(
    machine_bytes={"assets": 512.0, "positions": 1536.0},
    order_bytes={"work_orders": 1024.0, "revisions": 7168.0, "idempotency_keys": 999.0},
    machine=Cost(0.001, 0.001),
    order_life=Cost(0.050, 0.020),
    opening=Cost(0.010, 0.005),
    instructions=Cost(0.002, 0.001),
    page=Cost(0.003, 0.0015),
    analysis=Cost(0.200, 0.100),
    requests_per_order=5,
    worker_mib=64.0,
    backend_mib=8.0,
)
ASSUMED = Assumed(
    sites=36, positions=1000, replacements=0.5, orders=2, years=4, reads=10, poll_s=12, analyses=30, hours=3650,
    peak=36.5, busy=0.25, bloat=2, wal_gib=1, hot=0.5, pool=5, worker_growth=3,
)  # fmt: skip
BY_HAND = {
    "positions": 36_000,
    "work orders a year": 36_000,  # 36,000 x 0.5 x 2
    "a machine of two positions": 2048,
    "a completed order": 8192,  # the answers kept 7 days are left out
    "data": (18_000 * 2048 + 144_000 * 8192) / 2**30,
    "disk of the database": 2 * (18_000 * 2048 + 144_000 * 8192) / 2**30 + 1,
    "orders at the peak": 0.1,  # 36,000 / 3,650 h = 9.863 an hour = 0.0027397 a second, x 36.5
    "writes at the peak": 0.5,
    "instructions read at the peak": 1.0,
    "polls": 3.0,
    "analyses at the peak": 1.095,  # 36 x 30 = 1,080 a day, in 10 h = 36,000 s: 0.03 a second, x 36.5
    "stays of a site": 3000,
    "web cores": 0.1954,  # (0.1 x 0.050 + 1 x 0.002 + 3 x 0.003 + 1.095 x 0.200 x 3/20 = 0.04885) / 0.25
    "database cores": 0.0957,  # (0.002 + 0.001 + 0.0045 + 0.016425 = 0.023925) / 0.25
    "workers": 2,
    "connections": 10,
    "memory of the workers": 0.375,  # 2 x 64 MiB x 3
    "memory of the database": 0.5 * (18_000 * 2048 + 144_000 * 8192) / 2**30 + 0.078125,  # 10 x 8 MiB
}


def test_the_needs_are_those_computed_by_hand() -> None:
    assert {line.what: line.value for line in needs(ASSUMED, MEASURED)} == pytest.approx(BY_HAND)


def test_more_sites_need_more_workers_and_their_connections() -> None:
    many = {line.what: line.value for line in needs(Assumed(**{**vars(ASSUMED), "sites": 3600}), MEASURED)}
    assert many["web cores"] == pytest.approx(19.54)
    assert (many["workers"], many["connections"]) == (20, 100)


def test_bytes_and_rows_of_a_table_are_its_growth() -> None:
    """Two machines: 100 bytes and one row each of the first; the last has not grown."""
    before = {"assets": (1000, 1), "positions": (0, 0), "sites": (500, 5)}
    after = {"assets": (1200, 3), "positions": (800, 4), "sites": (500, 5)}
    by_machine, rows, by_row = growth(before, after, 2)
    assert by_machine == {"assets": 100.0, "positions": 400.0, "sites": 0.0}
    assert rows == {"assets": 1.0, "positions": 2.0}
    assert by_row == {"assets": 100.0, "positions": 200.0}


def test_every_assumption_and_every_need_is_printed_with_where_it_comes_from() -> None:
    lines = list(report(ASSUMED, MEASURED))
    assert any(line.startswith("| peak | 36.5 | busiest") for line in lines)
    assert "| writes at the peak | 0.5 1/s | orders x measured writes of one |" in lines
    assert len(lines) == 2 + len(vars(ASSUMED)) + len(BY_HAND)
