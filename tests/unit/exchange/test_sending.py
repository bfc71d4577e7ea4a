"""How long a receiver asks to be left alone. The dates are the example of RFC 9110, 5.6.7, in its three forms."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exchange.sending import LONGEST_RETRY_AFTER_S, retry_after_s

DATE = "Sun, 06 Nov 1994 08:49:37 GMT"


@pytest.mark.parametrize(
    ("value", "wait_s"),
    [
        ("0", 0.0),
        ("120", 120.0),
        ("3601", LONGEST_RETRY_AFTER_S),
        ("Sun, 06 Nov 1994 08:51:37 GMT", 120.0),
        ("Sunday, 06-Nov-94 08:51:37 GMT", 120.0),
        ("Sun Nov  6 08:51:37 1994", 120.0),
        ("Sun, 06 Nov 1994 09:49:37 GMT", LONGEST_RETRY_AFTER_S),
        ("Fri, 31 Dec 9999 23:59:59 GMT", LONGEST_RETRY_AFTER_S),
        (DATE, 0.0),
        ("Sun, 06 Nov 1994 08:49:36 GMT", 0.0),
    ],
)
def test_seconds_and_dates_are_heeded_up_to_the_same_limit(value: str, wait_s: float) -> None:
    assert retry_after_s(value, DATE) == wait_s


@pytest.mark.parametrize(
    "value",
    [
        None,
        "",
        "soon",
        "-1",
        "1.5",
        "nan",
        "1e3",
        "²",
        "Sun, 31 Feb 1994 08:49:37 GMT",
        "Sun, 06 Nov 1994 25:00:00 GMT",
    ],
)
def test_what_is_neither_is_as_if_it_had_not_been_said(value: str | None) -> None:
    assert retry_after_s(value, DATE) is None


@pytest.mark.parametrize("date", [None, "", "yesterday"])
def test_without_the_receivers_clock_ours_is_taken(date: str | None) -> None:
    assert retry_after_s("Fri, 31 Dec 9999 23:59:59 GMT", date) == LONGEST_RETRY_AFTER_S
    assert retry_after_s(DATE, date) == 0.0


@given(
    st.text(max_size=60) | st.from_regex(r"[A-Z][a-z]{2}, \d{1,6} Nov \d{1,6} \d{1,3}:\d{1,3}(:\d{1,3})? [+-]?\w{1,8}")
)
def test_whatever_a_receiver_says_the_wait_has_limits(value: str) -> None:
    for date in (DATE, value):
        wait_s = retry_after_s(value, date)
        assert wait_s is None or 0.0 <= wait_s <= LONGEST_RETRY_AFTER_S
