"""openapi/openapi.json: valid 3.1, up to date, and complete."""

import json
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from openapi_spec_validator import OpenAPIV31SpecValidator

from service.api.http.operations import DECLARED
from service.api.http.problems import CATALOGUE
from service.app import create_app
from service.settings import Settings

FILE = Path(__file__).parents[2] / "openapi" / "openapi.json"
METHODS = ("get", "post", "put", "patch", "delete")


@pytest.fixture(scope="module")
def app() -> Flask:
    return create_app(Settings(database_url="sqlite:///never-opened.db"))


@pytest.fixture(scope="module")
def document(app: Flask) -> dict[str, Any]:
    return json.loads(app.extensions["capsaddle"].openapi)


def operations(document: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(p, m): o for p, item in document["paths"].items() for m, o in item.items() if m in METHODS}


def test_the_committed_document_is_the_one_that_is_served(app: Flask) -> None:
    served = app.test_client().get("/openapi.json").text
    assert FILE.read_text(encoding="utf-8") == served + "\n", "stale: run `capsaddle openapi openapi/openapi.json`"


def test_the_document_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(document).validate()


def test_every_route_is_documented_and_nothing_else(app: Flask, document: dict[str, Any]) -> None:
    routes = {
        (rule.rule.replace("<", "{").replace(">", "}"), method.lower())
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or ()) - {"HEAD", "OPTIONS"}
        if rule.endpoint not in DECLARED.open_endpoints
    }
    assert set(operations(document)) == routes
    assert {rule.endpoint for rule in app.url_map.iter_rules()} == set(DECLARED.operations) | DECLARED.open_endpoints


def test_operations_have_unique_ids_security_and_problems(document: dict[str, Any]) -> None:
    found = operations(document)
    ids = [operation["operationId"] for operation in found.values()]
    assert len(ids) == len(set(ids)) == len(found)
    for (path, method), operation in found.items():
        assert len(operation["security"]) == 1 and operation["summary"], (path, method)
        statuses = set(operation["responses"])
        assert {"400", "401", "403", "404", "405", "500", "503"} <= statuses, (path, method)
        if "requestBody" in operation:
            assert {"411", "413", "415", "422"} <= statuses, (path, method)
            media = list(operation["requestBody"]["content"].values())
            assert any("example" in one for one in media) or method == "put", (path, method)
        for status in statuses:
            if int(status) >= 400:
                assert operation["responses"][status] == {"$ref": f"#/components/responses/Problem{status}"}


def test_every_code_of_the_catalogue_is_documented(document: dict[str, Any]) -> None:
    for code, (status, _) in CATALOGUE.items():
        assert code in document["components"]["responses"][f"Problem{status}"]["description"], code


def test_schemas_are_named_objects(document: dict[str, Any]) -> None:
    for name, schema in document["components"]["schemas"].items():
        assert schema["type"] == "object", name
