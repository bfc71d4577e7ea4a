"""The reference of the API, made from its OpenAPI document."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from service.render.docs.known import Known, Shown
from service.render.docs.marked import Heading, Term

METHODS: Final = ("get", "post", "put", "patch", "delete")
SCHEMAS: Final = Heading(2, "schemas", "What is sent and answered")


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation of the API as it is described."""

    method: str
    path: str
    id: str
    title: str
    scope: str
    parameters: tuple[Mapping[str, Any], ...]
    taken: str
    example: str
    answers: tuple[tuple[str, str, str], ...]


def shown_reference(known: Known) -> Shown:
    """Return the operations by tag and the schemas of the OpenAPI document."""
    document = known.contract()
    grouped: dict[str, list[Operation]] = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                tag = (item[method].get("tags") or ["other"])[0]
                grouped.setdefault(tag, []).append(_operation(method, path, item, document))
    schemas = document["components"]["schemas"]
    headings, terms = [], []
    for tag, operations in grouped.items():
        headings.append(Heading(2, anchor_of(tag), tag.capitalize()))
        for each in operations:
            headings.append(Heading(3, each.id, each.title))
            terms.append(Term(f"{each.method} {each.path}", each.id))
    headings.append(SCHEMAS)
    headings += [Heading(3, f"schema-{name}", name) for name in schemas]
    values = {
        "groups": grouped,
        "schemas": schemas,
        "info": document["info"],
        "kind": kind_of,
        "anchor": anchor_of,
        "linked": lambda said: _linked(said, schemas),
    }
    return Shown(values, tuple(headings), tuple(terms))


def anchor_of(tag: str) -> str:
    """Return the anchor of the operations of a tag."""
    return f"operations-{tag.replace(' ', '-')}"


def _linked(said: str, schemas: Mapping[str, Any]) -> Markup:
    """Return words in which the names of schemas lead to them."""

    def link(found: re.Match[str]) -> str:
        name = found[0]
        return f'<a href="#schema-{name}">{name}</a>' if name in schemas else name

    return Markup(re.sub(r"\b[A-Z]\w+", link, str(escape(said))))


def _operation(method: str, path: str, item: Mapping[str, Any], document: Mapping[str, Any]) -> Operation:
    described = item[method]
    given = [*item.get("parameters", ()), *described.get("parameters", ())]
    body = described.get("requestBody", {}).get("content", {})
    example = next((media["example"] for media in body.values() if "example" in media), None)
    return Operation(
        method=method.upper(),
        path=path,
        id=described["operationId"],
        title=described["summary"],
        scope=next(iter(described["security"][0].values()))[0],
        parameters=tuple(_resolved(each, document) for each in given),
        taken=", ".join(_taken(body)),
        example="" if example is None else json.dumps(example, indent=1, ensure_ascii=False),
        answers=tuple(_answers(described["responses"], document)),
    )


def _taken(body: Mapping[str, Any]) -> Iterator[str]:
    for media, content in body.items():
        reference = content.get("schema", {}).get("$ref", "")
        yield f"{media} {reference.rpartition('/')[2]}".strip()


def _answers(responses: Mapping[str, Any], document: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """Yield (status, description, media types with schemas) of the answers that are no problems."""
    for status, given in responses.items():
        response = _resolved(given, document)
        if int(status) < 400:
            yield status, response["description"], ", ".join(_taken(response.get("content", {})))


def _resolved(node: Mapping[str, Any], document: Mapping[str, Any]) -> Mapping[str, Any]:
    while "$ref" in node:
        found: Any = document
        for part in node["$ref"].removeprefix("#/").split("/"):
            found = found[part]
        node = found
    return node


def kind_of(schema: Any) -> str:
    """Return in a few words what a JSON Schema takes."""
    if not isinstance(schema, dict):
        return "anything"
    if "$ref" in schema:
        return str(schema["$ref"].rpartition("/")[2])
    for word in ("anyOf", "oneOf", "allOf"):
        if word in schema:
            return " or ".join(dict.fromkeys(kind_of(each) for each in schema[word]))
    if "enum" in schema:
        return " | ".join("null" if each is None else str(each) for each in schema["enum"])
    kinds = schema.get("type", "anything")
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if "array" in kinds:
        kinds = [f"list of {kind_of(schema.get('items'))}" if kind == "array" else kind for kind in kinds]
    limits = [f"{word} {schema[key]}" for key, word in _LIMITS.items() if key in schema]
    return " or ".join(kinds) + (f" ({', '.join(limits)})" if limits else "")


_LIMITS: Final = {
    "minimum": "from",
    "exclusiveMinimum": "above",
    "maximum": "to",
    "exclusiveMaximum": "below",
    "maxLength": "longest",
    "format": "as",
}
