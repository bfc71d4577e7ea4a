"""The books of a site: its own charts and housings, which go before the built-in tables (rules C3 and B1).

A book is one version of a chart or of a housing. Versions are never edited, so that a plan can always be computed
again from those it was made with.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from service.bolting.book import Bolt, ChartedTorque
from service.findings import Source
from service.mounting import charts
from service.mounting.charts import Chart, ChartProvenance, ChartRow
from service.record import Record
from service.reference.bolts import thread
from service.reference.housing_tables import CapBolts
from service.reference.housings import Housing, housing_from_dimensions, named

CAP_BOLT_TORQUE: Final = "cap_bolt_torque"
HOUSING: Final = "housing"
CHART_KINDS: Final = (*charts.KINDS, CAP_BOLT_TORQUE, HOUSING)
CHART: Final = "chart"
"""The two tables of books are ``chart`` and ``housing``; a chart of kind ``housing`` holds many housings."""


@dataclass(frozen=True, slots=True)
class Book:
    """One version of a chart or of a housing, as the calculations take it."""

    table: str
    id: str
    kind: str
    name: str
    version: int
    charts: tuple[Chart, ...] = ()
    torques: tuple[ChartedTorque, ...] = ()
    housings: tuple[Housing, ...] = ()

    @property
    def source_id(self) -> str:
        """Return the id of the source that its numbers name."""
        return _source_id(self.table, self.id, self.version)


@dataclass(frozen=True, slots=True)
class SiteBooks:
    """The books that a calculation goes by, the one entered last first."""

    books: tuple[Book, ...] = ()
    charts: tuple[Chart, ...] = ()
    torques: tuple[ChartedTorque, ...] = ()
    housings: Mapping[str, Housing] = field(default_factory=dict)

    def references(self, sources: Iterable[Mapping[str, Any]] = ()) -> list[Record]:
        """Return id and version of every book, and whether one of the ``sources`` of an answer is that book."""
        named_ids = {source["id"] for source in sources}
        return [
            {
                "table": book.table,
                "id": book.id,
                "kind": book.kind,
                "name": book.name,
                "version": book.version,
                "used": book.source_id in named_ids,
            }
            for book in self.books
        ]


NO_BOOKS: Final = SiteBooks()


def site_books(books: Iterable[Book]) -> SiteBooks:
    """Return the books of a site in order of precedence: the one entered last goes first."""
    ordered = tuple(sorted(books, key=lambda book: book.id, reverse=True))
    return SiteBooks(
        ordered,
        tuple(chart for book in ordered for chart in book.charts),
        tuple(torque for book in ordered for torque in book.torques),
        {housing.name: housing for book in reversed(ordered) for housing in book.housings if housing.name is not None},
    )


def book_of(*, table: str, id: str, kind: str, name: str, version: int, document: Mapping[str, Any]) -> Book:
    """Return the book that a stored document is.

    Parameters
    ----------
    table : str
        ``chart`` or ``housing``
    document : dict
        Provenance and rows (a chart), or provenance and the members of one row (a housing), quantities as leaves

    Raises
    ------
    CannotEvaluate
        A thread that is not known, dimensions of a housing that cannot be.
    """
    book = Book(table, id, kind, name, version)
    if kind in charts.KINDS:
        return replace(book, charts=(chart_of(kind, document, id=id, version=version),))
    source = Source(book.source_id, provenance_of(document).words(version), "site_chart")
    if kind == CAP_BOLT_TORQUE:
        torques = [_torque(row, source) for row in document["rows"]]
        return replace(book, torques=tuple(sorted(torques, key=lambda torque: torque.seat_design is None)))
    rows = document["rows"] if table == CHART else [{**document, "name": name}]
    return replace(
        book,
        torques=tuple(_torque_of_housing(row, source) for row in rows if "torque" in (row.get("cap_bolts") or {})),
        housings=tuple(housing_of_row(row, source) for row in rows),
    )


def _source_id(table: str, id: str, version: int) -> str:
    return f"{table}-{id}-v{version}"


def provenance_of(document: Mapping[str, Any]) -> ChartProvenance:
    """Return where a book comes from."""
    return ChartProvenance(**document["provenance"])


def chart_of(kind: str, document: Mapping[str, Any], *, id: str = "", version: int = 1) -> Chart:
    """Return the chart of a bearing kind that a document is."""
    return Chart(
        id=id,
        version=version,
        kind=kind,
        bearing_type=document["bearing_type"],
        tapered=document["bore_form"] == "tapered",
        rows=tuple(_chart_row(row) for row in document["rows"]),
        provenance=provenance_of(document),
    )


def _chart_row(row: Mapping[str, Any]) -> ChartRow:
    return ChartRow(
        over_mm=row["bore_over"].value,
        incl_mm=row["bore_incl"].value,
        min_value=row["min"].value,
        max_value=row["max"].value,
        clearance_class=row.get("clearance_class"),
        taper=row.get("taper"),
        on_sleeve=row.get("on_sleeve"),
        smallest_residual_nm={mark: value.value for mark, value in row.get("smallest_residual", {}).items()},
        accept_unusual=row.get("accept_unusual", False),
        reason=row.get("reason", ""),
    )


def _torque(row: Mapping[str, Any], source: Source) -> ChartedTorque:
    housing = row["housing"]
    return ChartedTorque(
        torque_n_m=row["torque"].value,
        source=source,
        housing_name=housing.get("name"),
        size=housing.get("size"),
        dimensions=housing.get("dimensions"),
        seat_design=housing.get("seat_design"),
        bolt=None if "bolt" not in row else bolt_of(row["bolt"]),
    )


def bolt_of(document: Mapping[str, Any]) -> Bolt:
    """Return the bolts of a cap, the thread as the tables write it."""
    return Bolt(thread(document["thread"]).name, document.get("grade"), document.get("count"))


def _torque_of_housing(row: Mapping[str, Any], source: Source) -> ChartedTorque:
    bolts = row["cap_bolts"]
    return ChartedTorque(bolts["torque"].value, source, housing_name=row["name"], bolt=bolt_of(bolts))


def housing_of_row(row: Mapping[str, Any], source: Source) -> Housing:
    """Return the housing that a row describes.

    Raises
    ------
    CannotEvaluate
        Its dimensions cannot be, or the thread of its cap bolts is not known.
    """
    rings = row.get("locating_rings")
    housing = housing_from_dimensions(
        seat_width_mm=row["seat_width"].value,
        seat_bore_mm=row["seat_bore"].value,
        locating_rings=None if rings is None else (rings["count"], rings["width"].value),
    )
    if "cap_bolts" in row:
        bolt = bolt_of(row["cap_bolts"])
        housing = replace(housing, cap_bolts=CapBolts(bolt.thread, bolt.grade, bolt.count, "not_published"))
    return named(housing, row["name"], source)
