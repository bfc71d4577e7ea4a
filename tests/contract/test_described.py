"""The contract means what it says: everything is described, and what takes any object says so."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from service.api.http.described import members, operations
from service.api.stays.imports.schemas import StayToImport
from service.exchange.cloud_events import PREFIX, TYPES
from service.use_cases.stays.sources import COLUMNS, REQUIRED

ROOT = Path(__file__).parents[2]
GLOSSARY = "service/api/http/data/members.toml"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    made: dict[str, Any] = json.loads((ROOT / "openapi" / "openapi.json").read_text(encoding="utf-8"))
    return made


def test_every_member_of_every_schema_is_described(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    lacking = [
        f"{GLOSSARY} must gain an entry {member} (or {name}.{member})"
        for name, schema in schemas.items()
        for member, shape in schema.get("properties", {}).items()
        if not shape.get("description")
    ]
    assert not lacking, "\n".join(lacking)


def test_the_glossary_holds_no_word_that_nothing_uses(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    used = {name for schema in schemas.values() for name in schema.get("properties", {})}
    used |= {f"{schema}.{name}" for schema in schemas for name in schemas[schema].get("properties", {})}
    unused = sorted(set(members()) - used)
    assert not unused, f"{GLOSSARY} must lose {unused}: no member has this name"


def test_every_operation_says_what_it_does_and_what_its_key_needs(document: dict[str, Any]) -> None:
    for operation in operations(document):
        assert operation["summary"] and operation["description"], operation["operationId"]
        assert "scope `" in operation["description"] or "Needs no key" in operation["description"]


def test_operation_ids_are_names_of_methods_that_begin_with_a_verb(document: dict[str, Any]) -> None:
    """They become names of methods in generated clients; calculations are named by what they return."""
    ids = [operation["operationId"] for operation in operations(document)]
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[a-z]+(_[a-z0-9]+)*", each) for each in ids)


def test_no_name_of_a_parameter_is_one_of_ours_inside(document: dict[str, Any]) -> None:
    named = [p.get("name", "") for operation in operations(document) for p in operation.get("parameters", ())]
    assert not [name for name in named if name.startswith("_") or name.endswith("_")]


def test_a_message_of_another_system_is_any_object(document: dict[str, Any]) -> None:
    assert document["components"]["schemas"]["Message"]["additionalProperties"] is True


def test_an_import_says_what_a_stay_is_in_json(document: dict[str, Any]) -> None:
    content = document["paths"]["/v1/stays/import"]["post"]["requestBody"]["content"]["application/json"]
    assert content["schema"] == {"$ref": "#/components/schemas/StaysToImport"}
    assert isinstance(content["example"]["items"], list)
    fields = StayToImport().fields
    assert set(fields) == set(COLUMNS)
    assert {name for name, field in fields.items() if field.required} == set(REQUIRED)


def test_every_type_of_event_has_its_webhook(document: dict[str, Any]) -> None:
    assert set(document["webhooks"]) == {PREFIX + name for name in TYPES}
