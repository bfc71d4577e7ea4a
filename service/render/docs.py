"""The documentation as pages of this service: no script, nothing from outside; made from what the service knows."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from service.reference import tables
from service.render.html import environment, style
from service.rules import rules

DATA: Final = Path(__file__).parent / "docs_data"
STYLE: Final = "docs.css"
PAGES: Final = {
    "": "Start",
    "api": "API reference",
    "problems": "Problems",
    "blocked": "Blocked",
    "rules": "Rules",
    "tables": "Tables",
}
METHODS: Final = ("get", "post", "put", "patch", "delete")


@dataclass(frozen=True, slots=True)
class Example:
    """A request that the tests run, and what stands in its answer by JSON Pointer."""

    title: str
    says: str
    path: str
    body: Mapping[str, Any]
    answer: Mapping[str, Any]

    @property
    def written(self) -> str:
        """Return the body as it is typed."""
        return json.dumps(self.body, indent=1, ensure_ascii=False)


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


@cache
def examples() -> tuple[Example, ...]:
    """Return the worked examples."""
    return tuple(Example(**each) for each in json.loads((DATA / "examples.json").read_text(encoding="utf-8")))


@cache
def blocked() -> dict[str, tuple[str, str]]:
    """Return the rule and the meaning of each code of ``blocked``."""
    kept = tomllib.loads((DATA / "blocked.toml").read_text(encoding="utf-8"))
    return {code: (rule, says) for code, (rule, says) in sorted(kept.items())}


def start_page() -> str:
    """Return the page to begin with: worked examples."""
    return _page("", "docs_start.html", examples=examples())


def problems_page(catalogue: Mapping[str, tuple[int, str]]) -> str:
    """Return the table of problem codes, each at the anchor that ``type`` names."""
    return _page(
        "problems", "docs_problems.html", codes=sorted(catalogue.items(), key=lambda each: (each[1][0], each[0]))
    )


def blocked_page() -> str:
    """Return the table of the codes in ``blocked``."""
    return _page("blocked", "docs_blocked.html", codes=blocked())


def rules_page() -> str:
    """Return the rules with their ids."""
    return _page("rules", "docs_rules.html", rules=rules())


def tables_page() -> str:
    """Return the built-in tables, where they come from and how far they were checked."""
    found = [(tables.provenance(name), name, len(tables.rows(name))) for name in tables.names()]
    return _page("tables", "docs_tables.html", tables=found, version=tables.DATA_VERSION)


def api_page(document: Mapping[str, Any]) -> str:
    """Return the reference of an OpenAPI document."""
    grouped: dict[str, list[Operation]] = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                tag = (item[method].get("tags") or ["other"])[0]
                grouped.setdefault(tag, []).append(_operation(method, path, item, document))
    schemas = document["components"]["schemas"]
    return _page("api", "docs_api.html", groups=grouped, schemas=schemas, info=document["info"], kind=kind_of)


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


def _page(name: str, template: str, **content: Any) -> str:
    found = environment("metric").get_template(template)
    return found.render(pages=PAGES, name=name, title=PAGES[name], style=style(STYLE), **content)
