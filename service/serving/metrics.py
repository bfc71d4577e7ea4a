"""Metrics in the format of Prometheus, counted by all processes of a server into files they share.

Labels are route templates, methods and classes of status: never ids, keys or raw paths. ``prometheus_client`` decides
when it is imported whether its counters live in files, so it is imported here on first use, in the process that counts.
"""

from collections.abc import Iterable
from typing import Any, Final

from service import ENGINE_VERSION
from service.reference.tables import DATA_VERSION
from service.store.database import Database
from service.store.queries.lag import lag
from service.store.unit_of_work import Event

BUCKETS_S: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
FOLDER_NAME: Final = "PROMETHEUS_MULTIPROC_DIR"
CONTENT_TYPE: Final = "text/plain; version=0.0.4; charset=utf-8"


class Metrics:
    """The counters of one process."""

    def __init__(self) -> None:
        from prometheus_client import CollectorRegistry, Counter, Histogram

        made = CollectorRegistry()
        self.seconds = Histogram(
            "http_server_request_duration_seconds",
            "Time from the request being read to the answer being made",
            ("route", "method", "status"),
            namespace="capsaddle",
            buckets=BUCKETS_S,
            registry=made,
        )

        def counter(name: str, said: str, label: str, *more: str) -> Counter:
            return Counter(name, said, (label, *more), namespace="capsaddle", registry=made)

        self.plans = counter("plans_issued", "Instructions issued, as first or next revision", "revision")
        self.blocked = counter("plans_blocked", "Findings that block the work in issued plans", "code")
        self.readings = counter("readings", "Readings judged", "kind", "verdict")
        self.events = counter("events", "Rows of the journal written for requests", "type")

    def count_answer(self, route: str, method: str, status: int, taken_s: float) -> None:
        """Count an answer."""
        self.seconds.labels(route, method, f"{status // 100}xx").observe(taken_s)

    def count(self, events: Iterable[Event]) -> None:
        """Count what a committed write has done."""
        for event in events:
            self.events.labels(event.type).inc()
            if event.type in ("work_order.opened", "instructions.revised"):
                self.plans.labels("first" if event.type == "work_order.opened" else "next").inc()
                for code in event.data.get("blocked", ()):
                    self.blocked.labels(code).inc()
            elif event.type == "reading.recorded":
                self.readings.labels(str(event.data["kind"]), str(event.data["verdict"])).inc()


def exposition(database: Database) -> bytes:
    """Return the counters of all processes together, with what is read from the database at this moment."""
    from prometheus_client import CollectorRegistry, generate_latest
    from prometheus_client.multiprocess import MultiProcessCollector

    registry = CollectorRegistry()
    MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    registry.register(_State(database))
    return generate_latest(registry)


class _State:
    """Gauges read when they are asked for; those that cannot be read are left out and ``database_up`` says so."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def collect(self) -> Iterable[Any]:
        """Yield the gauges."""
        from prometheus_client.core import GaugeMetricFamily, InfoMetricFamily

        versions = {"engine_version": ENGINE_VERSION, "data_version": DATA_VERSION}
        yield InfoMetricFamily("capsaddle_build", "Versions of what answers", versions)
        try:
            found = lag(self._database)
        except Exception:
            yield GaugeMetricFamily("capsaddle_database_up", "Whether the database answers", 0)
            return
        yield GaugeMetricFamily("capsaddle_database_up", "Whether the database answers", 1)
        for name, said, value in (
            (
                "journal_lag_events",
                "Rows of the journal not read yet for the slowest subscription",
                found.events,
            ),
            ("deliveries_pending", "Events waiting to be delivered", found.pending),
            ("deliveries_dead", "Events given up", found.dead),
            ("delivery_lag_seconds", "Age of the event that has waited longest to be delivered", found.oldest_s),
        ):
            yield GaugeMetricFamily(f"capsaddle_{name}", said, value)
