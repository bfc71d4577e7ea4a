"""Records: written, read back, and named by their hash."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import record
from service.units import KINDS, Quantity

NUMBERS = st.integers(-(10**12), 10**12) | st.floats(allow_nan=False, allow_infinity=False)
QUANTITIES = st.builds(Quantity, st.sampled_from(sorted(KINDS)), NUMBERS)
WORDS = st.lists(st.text() | QUANTITIES, min_size=1, max_size=4).map(tuple)
LEAVES = st.none() | st.booleans() | NUMBERS | st.text() | QUANTITIES | WORDS
RECORDS = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
)


@given(RECORDS)
def test_a_record_is_read_back_as_it_was_written(tree: Any) -> None:
    text = record.encoded({"tree": tree})
    assert record.decoded(text) == {"tree": tree}
    assert record.encoded(record.decoded(text)) == text


def test_the_hash_does_not_depend_on_the_order_of_members() -> None:
    one = {"a": Quantity("clearance", 95_000), "b": ("from ", Quantity("torque", 1.5))}
    assert record.sha256(one) == record.sha256(dict(reversed(one.items())))
    assert record.sha256(one) != record.sha256({**one, "a": Quantity("clearance", 95_001)})
    assert record.sha256(one) != record.sha256({**one, "a": Quantity("displacement", 95_000)})


def test_the_hash_is_that_of_the_canonical_text() -> None:
    """SHA-256 of the empty object's text {}: FIPS 180-4 by any other tool (sha256sum)."""
    assert record.sha256({}) == "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_a_record_holds_finite_numbers_only(number: float) -> None:
    with pytest.raises(ValueError, match="not finite"):
        record.encoded({"value": Quantity("torque", number)})
