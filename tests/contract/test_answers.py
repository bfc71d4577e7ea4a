"""Every operation has examples: a request that was sent and answered, and the answer, made again here and compared."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from service.app import create_app
from service.settings import Settings
from tests.api.samples.checked import Contract
from tests.contract.answers import FILE, answers

TEXTS = ("text/csv", "application/x-ndjson", "application/xml")


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    app = create_app(Settings(database_url="sqlite:///never-opened.db"))
    made: dict[str, Any] = json.loads(app.extensions["capsaddle"].openapi)
    return made


def operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for item in document["paths"].values():
        yield from (each for each in item.values() if isinstance(each, dict))


def answered(operation: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """The successful answers of an operation that have a body."""
    for status, answer in operation["responses"].items():
        if status.startswith("2") and answer.get("content"):
            yield status, answer["content"]


def test_the_service_answers_the_requests_of_the_document_as_the_document_says(database_url: str) -> None:
    kept = json.loads(FILE.read_text(encoding="utf-8"))
    made = answers(database_url)
    for name in sorted(set(kept) | set(made)):
        assert made.get(name) == kept.get(name), f"{name} changed: run `python -m tests.contract.answers`"


def test_every_operation_has_an_example_of_its_request_and_of_its_answer(document: dict[str, Any]) -> None:
    lacking = []
    for operation in operations(document):
        name = operation["operationId"]
        for media, content in operation.get("requestBody", {}).get("content", {}).items():
            lacking += [] if "example" in content else [(name, "request", media)]
        for status, content in answered(operation):
            must = {media for media in content if media.endswith("/json") or media in TEXTS} or set(content)
            lacking += [(name, status, media) for media in must if "example" not in content[media]]
    assert lacking == []
    assert sum(1 for _ in operations(document)) > 70


def test_the_examples_have_the_shape_that_the_document_describes(document: dict[str, Any]) -> None:
    """Short as they are: the schemas are closed here, so that a member nobody described is a failure."""
    contract = Contract(document)
    checked = 0
    for operation in operations(document):
        for _, content in answered(operation):
            for media, one in content.items():
                if media.endswith("/json"):
                    contract.validate(one["schema"], one["example"])
                    checked += 1
    assert checked > 55


def test_the_examples_are_short_and_hold_no_key() -> None:
    text = FILE.read_text(encoding="utf-8")
    assert "Bearer" not in text and "csk_" not in text and "capsaddle_" not in text
    assert len(text) < 400_000, "the document is to stay readable: cut the examples"
