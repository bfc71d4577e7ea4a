"""Times: the examples of RFC 3339, 5.8, and what its grammar leaves out."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from service.moments import NotAMoment, in_document, moment, moment_in_zone, rfc3339

EXAMPLES = {  # RFC 3339, section 5.8, with the moments in UTC that it gives in words
    "1985-04-12T23:20:50.52Z": datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC),
    "1996-12-19T16:39:57-08:00": datetime(1996, 12, 20, 0, 39, 57, tzinfo=UTC),
    "1937-01-01T12:00:27.87+00:20": datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC),
}


@pytest.mark.parametrize("text", EXAMPLES)
def test_the_examples_of_the_standard_are_read(text: str) -> None:
    assert moment(text) == moment(text.lower()) == EXAMPLES[text]  # 5.6: T and Z may be small letters
    assert moment(rfc3339(EXAMPLES[text])) == EXAMPLES[text]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1990-12-31T23:59:60Z", "bad_time"),  # its fourth example: a leap second, which no clock of ours can hold
        ("1985-04-12 23:20:50Z", "bad_time"),
        ("1985-04-12", "bad_time"),
        ("1985-04-12T23:20:50", "time_without_offset"),
        ("1985-04-12T24:20:50Z", "bad_time"),
        ("0001-01-01T00:00:00+01:00", "bad_time"),
        (0, "bad_time"),
    ],
)
def test_what_is_no_moment_is_refused(text: object, code: str) -> None:
    with pytest.raises(NotAMoment) as refused:
        moment(text)
    assert refused.value.code == code


def test_a_time_is_written_in_utc_with_four_digits_for_the_year_and_six_for_the_second() -> None:
    there = timezone(timedelta(hours=-8))
    assert rfc3339(datetime(1996, 12, 19, 16, 39, 57, tzinfo=there)) == "1996-12-20T00:39:57.000000Z"
    assert rfc3339(datetime(987, 1, 2, tzinfo=UTC)) == "0987-01-02T00:00:00.000000Z"
    assert in_document("text") == "text" and in_document(EXAMPLES["1985-04-12T23:20:50.52Z"]).endswith("50.520000Z")


def test_the_hour_that_clocks_repeat_or_skip_is_ambiguous() -> None:
    """Of the IANA database: Sweden changed its clocks on 2025-03-30 and 2025-10-26."""
    zone = ZoneInfo("Europe/Stockholm")
    assert moment_in_zone("2025-07-01 12:00:00", zone) == datetime(2025, 7, 1, 10, tzinfo=UTC)
    for text in ("2025-03-30T02:30:00", "2025-10-26T02:30:00"):
        with pytest.raises(NotAMoment) as refused:
            moment_in_zone(text, zone)
        assert refused.value.code == "ambiguous_time"
