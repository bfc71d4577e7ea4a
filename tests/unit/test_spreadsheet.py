"""Cells that no spreadsheet runs: the characters that OWASP names under "CSV Injection" (from memory)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.spreadsheet import guarded, inert, unguarded

NAMED = ("=", "+", "-", "@", "\t", "\r")


@pytest.mark.parametrize("sign", NAMED)
def test_a_text_that_begins_like_a_formula_is_written_as_text(sign: str) -> None:
    assert inert(f"{sign}1+1") == guarded(f"{sign}1+1") == f"'{sign}1+1"
    assert inert("22216 K/C3") == guarded("22216 K/C3") == "22216 K/C3"


@given(st.text())
def test_what_was_guarded_is_read_back(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(NAMED)
