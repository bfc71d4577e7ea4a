"""A client that holds every answer against the OpenAPI document.

In the tests the answer schemas are closed: a member that the document does not know is a failure.
"""

import copy
import json
from typing import Any

import jsonschema
from flask import Flask
from flask.testing import FlaskClient
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012
from werkzeug.test import TestResponse

from tests.api.samples.published import check_job_response

OPEN_PATHS = ("/health/live", "/health/ready", "/openapi.json")


class Contract:
    """The OpenAPI document as something that answers are validated against."""

    def __init__(self, document: dict[str, Any]) -> None:
        self.document = document
        closed = _closed(copy.deepcopy(document))
        self._registry: Registry[Any] = Registry().with_resource("urn:api", Resource(closed, DRAFT202012))
        self._closed = closed

    def check(self, app: Flask, method: str, path: str, response: TestResponse) -> None:
        """Fail when the answer is not one that the document describes for the operation."""
        if path in OPEN_PATHS:
            return
        with app.test_request_context(path, method=method) as context:
            rule = context.request.url_rule
        media = (response.content_type or "").split(";")[0]
        if rule is None:
            assert media == "application/problem+json", (path, response.status, media)
            return self.check_problem(response)
        template = rule.rule.replace("<", "{").replace(">", "}")
        operation = self._closed["paths"][template].get(method.lower())
        assert operation is not None, f"{method} {template} is not documented"
        documented = operation["responses"].get(str(response.status_code))
        assert documented is not None, f"{method} {template}: {response.status_code} is not documented"
        documented = self._resolved(documented)
        if response.status_code in (204, 304):
            assert response.data == b""
            return None
        assert media in documented["content"], f"{method} {template}: {response.status_code} as {media}"
        schema = documented["content"][media]["schema"]
        if media.endswith(("/json", "+json")):
            self.validate(schema, response.json)
        if response.status_code >= 400:
            self.check_problem(response)
        return None

    def check_problem(self, response: TestResponse) -> None:
        """Fail when the answer is not a problem document."""
        self.validate({"$ref": "#/components/schemas/Problem"}, response.json)
        assert response.json["status"] == response.status_code
        assert response.json["request_id"] == response.headers["X-Request-ID"]

    def _resolved(self, node: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in node:
            target: Any = self._closed
            for part in node["$ref"].removeprefix("#/").split("/"):
                target = target[part]
            node = target
        return node

    def validate(self, schema: dict[str, Any], value: Any) -> None:
        """Fail when the value is not what the schema describes."""
        wrapped = {"$ref": "urn:api" + schema["$ref"]} if "$ref" in schema else schema
        validator = jsonschema.Draft202012Validator(wrapped, registry=self._registry)
        errors = sorted(validator.iter_errors(value), key=lambda e: list(e.absolute_path))
        assert not errors, "\n".join(f"{list(e.absolute_path)}: {e.message[:300]}" for e in errors[:8])


def _closed(node: Any, name: str = "") -> Any:
    """Close every object schema, but for problems, whose further members are the facts of an occurrence."""
    if isinstance(node, dict):
        if node.get("type") == "object" and "properties" in node and "additionalProperties" not in node:
            node["additionalProperties"] = name == "Problem"
        for key, value in node.items():
            _closed(value, key)
    elif isinstance(node, list):
        for value in node:
            _closed(value)
    return node


class Client:
    """The API as a caller with one key sees it."""

    def __init__(self, app: Flask, contract: Contract, key: str | None) -> None:
        self.app, self.contract, self.key = app, contract, key
        self._client: FlaskClient = app.test_client()

    def call(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        data: bytes | None = None,
        content_type: str = "application/json",
        headers: dict[str, str] | None = None,
    ) -> TestResponse:
        """Send a request; ``body`` as JSON, or ``data`` as it is."""
        sent = dict(headers or {})
        if self.key is not None:
            sent.setdefault("Authorization", f"Bearer {self.key}")
        options: dict[str, Any] = {}
        if body is not None or data is not None:
            options = {"data": json.dumps(body).encode() if data is None else data, "content_type": content_type}
        response = self._client.open(path, method=method, headers=sent, **options)
        self.contract.check(self.app, method, path.split("?")[0], response)
        if path.split("?")[0].endswith("/job-response") and response.status_code == 200:
            check_job_response(response.json)
        return response

    def get(self, path: str, **kwargs: Any) -> TestResponse:
        """Send GET."""
        return self.call("GET", path, **kwargs)

    def post(self, path: str, body: Any = None, **kwargs: Any) -> TestResponse:
        """Send POST."""
        return self.call("POST", path, body, **kwargs)

    def put(self, path: str, body: Any = None, **kwargs: Any) -> TestResponse:
        """Send PUT."""
        return self.call("PUT", path, body, **kwargs)

    def delete(self, path: str, **kwargs: Any) -> TestResponse:
        """Send DELETE."""
        return self.call("DELETE", path, **kwargs)
