"""Who calls with a person's token signs, in every document that names who signs."""

from collections.abc import Iterator
from typing import Any

import pytest
from marshmallow import Schema
from marshmallow import fields as ma_fields

from service.api.http.operations import DECLARED, Operation
from service.api.http.problems import ProblemRaised
from service.api.http.signing import sign

OTHER_PERSONS = {"checked_by", "/v1/work-orders/<order_id>/deviations taken_by"}
"""Who is not the sender: who checked a chart against the book, who did the work that a deviation is about."""


def places(schema: Schema, before: str = "") -> Iterator[str]:
    """Members of a schema, at any depth, that are named after who did something."""
    for name, field in schema.fields.items():
        inner, path = field, f"{before}{name}"
        if isinstance(inner, ma_fields.List):
            inner, path = inner.inner, f"{path}/*"
        if isinstance(inner, ma_fields.Nested):
            yield from places(inner.schema, f"{path}/*/" if inner.many and not path.endswith("/*") else f"{path}/")
        elif name == "by" or name.endswith("_by"):
            yield path


OPERATIONS = [each for each in DECLARED.operations.values() if each.body is not None and each.scope != "read"]


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda each: f"{each.method} {each.rule}")
def test_every_member_that_names_who_signs_is_the_persons(operation: Operation) -> None:
    assert operation.body is not None
    found = {path for path in places(operation.body) if path.rpartition("/")[2] not in OTHER_PERSONS}
    found = {path for path in found if f"{operation.rule} {path}" not in OTHER_PERSONS}
    assert found <= set(operation.signs), "name it in signs=, or say that it is somebody else"


def test_the_table_finds_what_is_known_to_sign() -> None:
    assert sum(bool(each.signs) for each in OPERATIONS) >= 9


def test_the_name_is_put_in_and_another_refused() -> None:
    document: Any = {"readings": [{}, {"taken_by": "a fitter"}, "no object"]}
    sign(document, ("readings/*/taken_by", "none/by"), "A. Fitter")
    assert document["readings"][:2] == [{"taken_by": "A. Fitter"}] * 2
    with pytest.raises(ProblemRaised) as refusal:
        sign({"readings": [{}, {"taken_by": "B. Foreman"}]}, ("readings/*/taken_by",), "A. Fitter")
    assert refusal.value.code == "not_the_person" and refusal.value.faults[0]["pointer"] == "#/readings/1/taken_by"
    for odd in ([], None, 7, "x", {"readings": {"a": 1}}, {"readings": None}):
        sign(odd, ("readings/*/taken_by",), "A. Fitter")
