"""Size classes: over < d <= incl, and what is refused at load."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import OutOfTable, TableError
from service.reference.bands import Band, Bands, refuse_backward, refuse_falling

TWO = Bands("two", [Band(10, 20, "small"), Band(20, 35, "large")])


@pytest.mark.parametrize(("size_mm", "row"), [(10.001, "small"), (20, "small"), (20.001, "large"), (35, "large")])
def test_a_class_is_over_its_lower_and_up_to_its_upper_edge(size_mm, row):
    assert TWO.at(size_mm, what="test", field="bore") == row


@pytest.mark.parametrize("size_mm", [0, 10, 35.001, -1, float("nan"), float("inf")])
def test_nothing_is_extrapolated(size_mm):
    assert TWO.found(size_mm) is None
    with pytest.raises(OutOfTable) as refused:
        TWO.at(size_mm, what="test", field="bore")
    assert refused.value.field == "bore"
    assert refused.value.code == "out_of_table"


@given(st.floats(min_value=0, max_value=50))
def test_bisection_agrees_with_looking_row_by_row(size_mm):
    by_eye = [band.row for band in TWO.bands if band.over_mm < size_mm <= band.incl_mm]
    assert TWO.found(size_mm) == (by_eye[0] if by_eye else None)


@pytest.mark.parametrize(
    ("bands", "words"),
    [
        ([], "no rows"),
        ([Band(10, 10, "x")], "runs backwards"),
        ([Band(20, 10, "x")], "runs backwards"),
        ([Band(10, 20, "x"), Band(21, 30, "y")], "gap"),
        ([Band(10, 20, "x"), Band(19, 30, "y")], "overlap"),
    ],
)
def test_a_table_with_a_gap_or_an_overlap_is_refused(bands, words):
    with pytest.raises(TableError, match=words):
        Bands("broken", bands)


def test_a_falling_column_is_refused_and_empty_cells_are_passed_over():
    refuse_falling("t", "c", [1, None, 1, 2])
    with pytest.raises(TableError, match="falls from 2 to 1"):
        refuse_falling("t", "c", [1, 2, None, 1])


@pytest.mark.parametrize(("smallest", "largest"), [(2, 1), (0, 1), (-1, 1)])
def test_a_backward_range_is_refused(smallest, largest):
    with pytest.raises(TableError, match="backwards"):
        refuse_backward("t", "c", smallest, largest)
