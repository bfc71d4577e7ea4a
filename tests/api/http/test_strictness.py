"""The edge: strict JSON and strict fields, held against the schemas that are published."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from service.api.calculations.clearance.schemas import ClearanceRequest
from service.api.http import fields
from service.exchange import strict_json
from service.exchange.strict_json import NotStrictJSON
from service.moments import rfc3339

FINITE = st.floats(allow_nan=False, allow_infinity=False)
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | FINITE | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
)


@given(JSON_VALUES)
def test_json_is_read_as_the_standard_library_reads_it(value: Any) -> None:
    data = json.dumps(value, ensure_ascii=False).encode("utf-8", "surrogatepass")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        with pytest.raises(NotStrictJSON):
            strict_json.parsed(data)
    else:
        assert strict_json.parsed(data) == value


@pytest.mark.parametrize(
    "data",
    [b"NaN", b"[Infinity]", b"[-Infinity]", b'{"a":1,"a":2}', b"[" * 33 + b"]" * 33, b"\xff", b"{'a': 1}", b"1 2"],
)
def test_what_is_not_json_is_refused(data: bytes) -> None:
    with pytest.raises(NotStrictJSON):
        strict_json.parsed(data)


def test_brackets_in_texts_are_not_depth() -> None:
    assert strict_json.parsed(b'["' + b"[" * 1000 + b'\\""]') == ["[" * 1000 + '"']


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    try:
        strict_json.parsed(data)
    except NotStrictJSON as error:
        assert str(error)


@given(JSON_VALUES)
def test_any_json_is_loaded_or_refused_with_a_code_for_each_fault(value: Any) -> None:
    from service.api.http.problems import faults_of

    try:
        ClearanceRequest().load(value)
    except ValidationError as error:
        faults = list(faults_of(error.messages))
        assert faults and all(pointer.startswith("#") and code and detail for pointer, code, detail in faults)


@pytest.mark.parametrize(
    ("field", "value", "code"),
    [
        (fields.Whole(1, 9), 1.0, "wrong_type"),
        (fields.Whole(1, 9), "1", "wrong_type"),
        (fields.Whole(1, 9), True, "wrong_type"),
        (fields.Whole(1, 9), 10, "out_of_range"),
        (fields.Number(above=0, most=1), "0.5", "wrong_type"),
        (fields.Number(above=0, most=1), 0, "out_of_range"),
        (fields.Number(above=0, most=1), float("nan"), "not_finite"),
        (fields.Number(above=0, most=1), 10**400, "out_of_range"),
        (fields.Flag(), "yes", "wrong_type"),
        (fields.Flag(), 1, "wrong_type"),
        (fields.Text(5), "", "wrong_length"),
        (fields.Text(5), "   ", "wrong_length"),
        (fields.Text(5), "123456", "wrong_length"),
        (fields.Text(5), "a\x00", "bad_character"),
        (fields.Text(5), "a\ud800", "bad_character"),
        (fields.Text(5), 7, "wrong_type"),
        (fields.Timestamp(), "2026-01-07", "bad_time"),
        (fields.Timestamp(), "2026-01-07T06:30:00", "time_without_offset"),
        (fields.Timestamp(), "0001-01-01T00:00:00+14:00", "bad_time"),
        (fields.Timestamp(), 1767767400, "bad_time"),
        (fields.Identifier(), "not-a-uuid", "bad_identifier"),
        (fields.Choice(("a", "b")), "c", "unknown_choice"),
        (fields.Choice(("a", "b")), ["a"], "unknown_choice"),
        (fields.QuantityField("torque"), 5, "bare_number"),
        (fields.QuantityField("torque"), {"value": 5}, "required"),
        (fields.QuantityField("torque"), {"value": 5, "unit": "N.m", "note": ""}, "unknown_member"),
        (fields.QuantityField("torque"), {"value": True, "unit": "N.m"}, "wrong_type"),
        (fields.QuantityField("torque"), {"value": 5, "unit": "lb"}, "wrong_dimension"),
        (fields.QuantityField("torque"), {"value": 5, "unit": "nm"}, "unknown_unit"),
        (fields.QuantityField("torque"), {"value": 5, "unit": ["N.m"]}, "unknown_unit"),
        (fields.QuantityField("torque", above=0), {"value": 0, "unit": "N.m"}, "out_of_range"),
        (fields.QuantityField("temperature_difference"), {"value": 5, "unit": "degF"}, "temperature_difference_unit"),
    ],
)
def test_a_field_refuses_what_resembles_its_value(field: Any, value: Any, code: str) -> None:
    with pytest.raises(ValidationError) as refused:
        field.deserialize(value)
    assert [fault["code"] for fault in refused.value.messages] == [code]


def test_texts_are_normalised_and_times_become_utc() -> None:
    assert fields.Text().deserialize(" Mu\u0308hle ") == "M\u00fchle"
    assert rfc3339(fields.Timestamp().deserialize("2026-01-07T07:30:00+01:00")) == "2026-01-07T06:30:00.000000Z"
    assert fields.Identifier().deserialize("01900000-0000-7000-8000-00000000000A".replace("A", "a"))


def test_the_text_of_a_quantity_is_ignored_on_input() -> None:
    given_quantity = {"value": 0.1016, "unit": "mm", "text": "anything"}
    assert fields.QuantityField("clearance").deserialize(given_quantity) == 101_600
