"""A site's chart with the numbers of the built-in table gives the targets of the built-in table, but for the source."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import units
from service.errors import CannotEvaluate
from service.instructions.books.books import Book, SiteBooks, book_of, site_books
from service.instructions.books.checks import chart_faults, with_accepted
from service.mounting.blades import METRIC_SET
from service.mounting.clearance import Measured, clearance_target
from service.mounting.designation import bearing_from_dimensions
from service.record import decoded, encoded
from service.reference import clearance_classes, mounting_practice
from service.reference.bands import Band

PROVENANCE = {"title": "Book", "edition": "1", "page": "2", "entered_by": "R. Example", "checked_by": "S. Example"}
CLASSES = ("C2", "CN", "C3", "C4", "C5")


def document(kind: str, rows: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    common = {"provenance": PROVENANCE, "bearing_type": "spherical_roller", "bore_form": "tapered", "rows": rows}
    return decoded(encoded({**common, **more})) | {"kind": kind}


def edges(band: Band[Any]) -> dict[str, Any]:
    return {"bore_over": units.dimension(band.over_mm), "bore_incl": units.dimension(band.incl_mm)}


def limits(kind: str, low: float, high: float) -> dict[str, Any]:
    return {"min": units.Quantity(kind, low), "max": units.Quantity(kind, high)}


def built_in_documents() -> list[dict[str, Any]]:
    practice = mounting_practice.mm_printing().bands
    reductions = [
        edges(band)
        | limits("clearance", *band.row.reduction_nm)
        | {"smallest_residual": {m: units.clearance(nm) for m, nm in band.row.smallest_residual_nm.items()}}
        for band in practice
    ]
    displacements = [
        edges(band) | limits("displacement", *found) | {"taper": taper, "on_sleeve": on_sleeve}
        for band in practice
        for (taper, on_sleeve), found in band.row.displacement_nm.items()
    ]
    initial = [
        edges(band) | limits("clearance", found.min_nm, found.max_nm) | {"clearance_class": mark}
        for band in clearance_classes.table("spherical_roller", True).bands
        for mark, found in band.row.items()
    ]
    return [
        document("reduction", reductions),
        document("axial_displacement", displacements),
        document("initial_clearance", initial),
    ]


def book(content: dict[str, Any], number: int = 1, name: str = "book") -> Book:
    kind = content["kind"]
    rest = {member: value for member, value in content.items() if member != "kind"}
    return book_of(table="chart", id=f"{number:04d}", kind=kind, name=name, version=1, document=rest)


BUILT_IN = site_books(book(content, number) for number, content in enumerate(built_in_documents()))


def without_sources(node: Any) -> Any:
    if isinstance(node, dict):
        left = ("source", "floor_source", "sources", "warnings")
        return {key: without_sources(value) for key, value in node.items() if key not in left}
    return [without_sources(value) for value in node] if isinstance(node, list) else node


def target(books: SiteBooks, **given: Any) -> Any:
    bearing = bearing_from_dimensions(
        type="spherical_roller",
        bore_mm=given["bore_mm"],
        taper=given["taper"],
        clearance_class=given["clearance_class"],
    )
    measured = Measured(((given["measured_nm"],),)) if given["measured_nm"] else None
    try:
        return clearance_target(
            bearing=bearing,
            seat=given["seat"],
            measured=measured,
            blade_set=METRIC_SET,
            sleeve_thread="metric",
            charts=books.charts,
        ).record()
    except CannotEvaluate as error:
        return {"code": error.code, "field": error.field}


@given(
    bore_mm=st.integers(20, 1200).map(float),
    taper=st.sampled_from(["1:12", "1:30"]),
    seat=st.sampled_from(["adapter_sleeve", "tapered_journal"]),
    clearance_class=st.sampled_from(("CN", "C3", "C4")),  # the practice has no reduction, so no travel, for C2 and C5
    measured_nm=st.one_of(st.none(), st.integers(10, 900).map(lambda um: um * 1000)),
)
def test_a_chart_like_the_built_in_table_changes_nothing_but_the_source(**given_: Any) -> None:
    own, built_in = target(BUILT_IN, **given_), target(SiteBooks(), **given_)
    if "code" not in built_in and built_in["reduction"] is None:  # practice then gives no travel; a book's own stands
        for answer in (own, built_in):
            answer.update(dict.fromkeys(("axial_displacement", "nut_turn", "missing")))
    assert without_sources(own) == without_sources(built_in)
    if "sources" in own and own["initial_clearance"] is not None:
        assert "site_chart" in {source["kind"] for source in own["sources"]}


@pytest.mark.parametrize("content", built_in_documents(), ids=lambda content: content["kind"])
def test_the_built_in_tables_stand_as_charts_without_a_fault(content: dict[str, Any]) -> None:
    assert chart_faults(content["kind"], content) == []


def reduction(over: float, incl: float, low_um: float, high_um: float) -> dict[str, Any]:
    clearance = limits("clearance", round(low_um * 1000), round(high_um * 1000))
    return {"bore_over": units.dimension(over), "bore_incl": units.dimension(incl), **clearance}


def test_only_the_rows_that_need_it_are_accepted_for_a_reason() -> None:
    rows = [reduction(65, 80, 40, 50), reduction(80, 100, 400, 500), reduction(100, 120, 50, 70)]
    accepted = with_accepted("reduction", document("reduction", rows), "printed so")
    assert [row.get("accept_unusual", False) for row in accepted["rows"]] == [False, True, False]
    assert accepted["rows"][1]["reason"] == "printed so"
    assert chart_faults("reduction", accepted) == []


@pytest.mark.parametrize("factor", [0.1, 1 / 25.4, 10.0, 25.4, 1000.0])
def test_a_slip_of_unit_or_decimal_point_is_seen_in_every_row_of_every_table(factor: float) -> None:
    """Factors between the units a book may print; each of the 255 rows of the built-in tables is tried."""
    tried = 0
    for content in built_in_documents():
        for row in content["rows"]:
            scaled = {name: units.Quantity(row[name].kind, row[name].value * factor) for name in ("min", "max")}
            one = {**content, "rows": [{**row, **scaled}]}
            assert {fault.code for fault in chart_faults(content["kind"], one)} == {"unusual"}
            tried += 1
    assert tried == 255


def test_the_book_entered_last_goes_first_and_its_housing_too() -> None:
    older, newer = (
        book(document("reduction", [reduction(65, 80, low, 50)]), number) for number, low in ((1, 40), (2, 41))
    )
    assert [chart.id for chart in site_books([older, newer]).charts] == ["0002", "0001"]
    first, second = (
        book_of(
            table="housing",
            id=f"{number:04d}",
            kind="housing",
            name="block",
            version=number,
            document={
                "provenance": PROVENANCE,
                "seat_width": units.dimension(width),
                "seat_bore": units.dimension(140),
            },
        )
        for number, width in ((1, 58.0), (2, 60.0))
    )
    assert site_books([second, first]).housings["block"].seat_width_mm == 60.0
