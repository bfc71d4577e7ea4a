"""What the contract says in words: descriptions of operations and members, and the events as webhooks.

Members are described by their name (data/members.toml): one word has one meaning. What a schema says itself stays.
"""

import json
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

from service.exchange.cloud_events import PREFIX, TYPES

METHODS: Final = ("get", "post", "put", "patch", "delete")
EVENT: Final = {"$ref": "#/components/schemas/EventRead"}
WEBHOOK_HEADERS: Final = {
    "webhook-id": "Id of the event, the same at every attempt (Standard Webhooks)",
    "webhook-timestamp": "Second of this attempt, Unix time",
    "webhook-signature": "v1,BASE64 of HMAC-SHA256 over id.timestamp.body; two while a secret is changed",
}


@cache
def members() -> Mapping[str, str]:
    """Return what a member says, by its name or by Schema.member."""
    text = (files("service.api.http") / "data" / "members.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def describe(made: dict[str, Any]) -> None:
    """Add to a document what it does not say yet in words."""
    known = members()
    for name, schema in made["components"]["schemas"].items():
        for member, shape in schema.get("properties", {}).items():
            said = known.get(f"{name}.{member}") or known.get(member)
            if said is not None:
                shape.setdefault("description", said)
    for operation in operations(made):
        operation["description"] = _described(operation)
        for parameter in operation.get("parameters", ()):
            shape = parameter.get("schema", {})
            if shape.get("type") == "boolean" and isinstance(shape.get("default"), str):
                shape["default"] = shape["default"] == "true"
    _prune(made)
    made["webhooks"] = {f"{PREFIX}{name}": {"post": _webhook(name, said)} for name, said in TYPES.items()}


def _prune(made: dict[str, Any]) -> None:
    """Take out components that nothing refers to: a generated client would carry them."""
    components = made["components"]
    while True:
        text = json.dumps(made)
        unused = [
            (kind, name)
            for kind in ("schemas", "responses", "parameters", "headers")
            for name in components.get(kind, ())
            if f'"#/components/{kind}/{name}"' not in text
        ]
        if not unused:
            return
        for kind, name in unused:
            del components[kind][name]


def operations(made: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every operation of a document."""
    for item in made["paths"].values():
        yield from (operation for method, operation in item.items() if method in METHODS)


def _described(operation: Mapping[str, Any]) -> str:
    """Return what an operation does, what its key needs, and what it answers when all is well."""
    scopes = [scope for entry in operation.get("security", ()) for scope in entry.get("ApiKey", ())]
    needs = f"Needs a key with the scope `{scopes[0]}`." if scopes else "Needs no key."
    answers = (
        f"{status}: {answer['description']}."
        for status, answer in sorted(operation["responses"].items())
        if status.startswith("2") and "description" in answer
    )
    said = operation.get("description", f"{operation['summary']}.")
    return " ".join([said.rstrip(), needs, *answers])


def _webhook(name: str, said: str) -> dict[str, Any]:
    headers = [
        {"in": "header", "name": header, "required": True, "description": what, "schema": {"type": "string"}}
        for header, what in WEBHOOK_HEADERS.items()
    ]
    return {
        "operationId": "receive_" + name.replace(".", "_"),
        "summary": said,
        "description": f"{said}. Sent to a subscription as a CloudEvent, signed by Standard Webhooks.",
        "tags": ["events"],
        "parameters": headers,
        "requestBody": {"required": True, "content": {"application/cloudevents+json": {"schema": EVENT}}},
        "responses": {
            "2XX": {"description": "Taken; anything else is tried again, 410 ends the subscription"},
            "410": {"description": "The receiver wants no more; the subscription is disabled"},
        },
        "security": [],
    }
