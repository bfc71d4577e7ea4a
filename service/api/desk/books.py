"""/desk/books: charts in force, who entered and checked them, how they differ from the built-in table, recalls."""

from typing import Final

from flask import Response

from service.api.books.charts.views import chart_line, chart_record
from service.api.books.housings.views import housing_record
from service.api.desk.door import HOME, Desk, page, shown
from service.api.desk.same import PAGE, Same, address, asked_for, first_page, links
from service.instructions.books.books import CHART, HOUSING, chart_of
from service.mounting import charts
from service.render.desk.books import Beside, differences_plot
from service.store.queries import books
from service.store.queries.books import BookRow
from service.use_cases.books.enter import book_of_path
from service.use_cases.desk.today import recalls

BOOKS: Final = f"{HOME}/books"
MOST_BOOKS: Final = 200


@page("/books")
def in_force(desk: Desk) -> Response:
    """Show the books in force, and the recalls."""
    where = address("/v1/charts", {"in_force": "true"})
    with desk.reading() as tx:
        chart_rows = books.page_of_books(tx, CHART, in_force=True, limit=MOST_BOOKS)
        housing_rows = books.page_of_books(tx, HOUSING, in_force=True, limit=MOST_BOOKS)
        told = recalls(tx)
    answers = [Same(where, first_page(desk, where, [chart_line(row) for row in chart_rows[: PAGE + 1]]))]
    given = asked_for(desk, answers)
    if given is not None:
        return given
    return shown(
        desk,
        "books",
        here="books",
        title="Books",
        charts=[chart_line(row) for row in chart_rows],
        housings=[housing_record(row) for row in housing_rows],
        recalls=told,
        links=links(answers),
    )


@page("/books/<chart_id>")
def chart(desk: Desk, chart_id: str) -> Response:
    """Show one version of a chart beside the built-in table."""
    with desk.reading() as tx:
        row = book_of_path(tx, CHART, chart_id)
        versions = books.page_of_books(tx, CHART, kind=row.kind, name=row.name, limit=MOST_BOOKS)
        told = [each for each in recalls(tx) if each["book_id"] == row.id]
    record = chart_record(row)
    answers = [Same(f"/v1/charts/{row.id}", record)]
    given = asked_for(desk, answers)
    if given is not None:
        return given
    beside = _beside(row)
    return shown(
        desk,
        "chart",
        here="books",
        title=f"{row.kind.replace('_', ' ')}: {row.name}, version {row.version}",
        chart=record,
        versions=[chart_line(each) for each in versions],
        recalls=told,
        beside=beside,
        picture=differences_plot(beside),
        links=links(answers),
    )


def _beside(row: BookRow) -> list[Beside]:
    """Return what of a chart can be held against the built-in table, row by row."""
    if row.kind not in charts.KINDS:
        return []
    made = chart_of(row.kind, row.document, id=row.id, version=row.version)
    found = []
    for number, what, value, built_in in charts.beside_built_in(made):
        of_row = made.rows[number - 1]
        bores = f"bore over {of_row.over_mm:g} to {of_row.incl_mm:g} mm"
        if built_in:
            found.append((bores, what, value / built_in))
    return found
