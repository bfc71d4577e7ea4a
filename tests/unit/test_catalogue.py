"""Catalogues of messages. Expected texts are those of the tables, with their places filled by hand."""

import pytest

from service import units
from service.catalogue import Catalogue
from service.errors import TableError

SAYS = Catalogue("service.arrangement")
FORCE = units.force(1000)


def test_a_missing_fact_says_why_and_how_under_the_name_of_its_field() -> None:
    found = SAYS.missing("bearing_width", "supports/1/bearing/width")
    assert found.field == "supports/1/bearing/width"
    assert found.why == "travel in the seat is seat width minus bearing width"
    assert found.how == "measure the width of the outer ring"


def test_a_finding_keeps_its_numbers_as_numbers_and_names_every_way_out() -> None:
    found = SAYS.blocked("axial_load_over_grip", facts={"slip_force": FORCE}, at="tail", load=FORCE, slip=FORCE)
    assert found.detail[1] == FORCE
    assert len(found.ways_out) == 2
    assert (found.code, found.position, found.facts) == ("axial_load_over_grip", "tail", {"slip_force": FORCE})


def test_a_code_may_be_said_in_another_way() -> None:
    found = SAYS.blocked("rotating_load", "rotating_load_open", facts={}, positions="tail and drive")
    assert found.code == "rotating_load"
    assert "at tail and drive, and at most one" in found.detail


def test_a_list_reads_like_a_list() -> None:
    assert SAYS.listed(["a", "b", "c"]) == "a, b and c"
    assert SAYS.listed(["a"]) == "a"
    assert SAYS.listed([]) is None


def test_what_is_not_there_or_not_filled_is_refused() -> None:
    with pytest.raises(TableError, match="no message nothing"):
        SAYS.message("nothing")
    with pytest.raises(TableError, match="a place is not filled"):
        SAYS.message("reason.located_by", names=None)
