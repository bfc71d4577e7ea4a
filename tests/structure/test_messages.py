"""What people are told stands whole in the catalogues, so that another language can say it: none is written in code."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import service

SERVICE = Path(service.__file__).parent
DOMAIN = ("mounting", "arrangement", "bolting", "reference")
FOUND = {"Missing": (1, 2), "Warned": (1,), "Blocked": (1, 2), "Verdict": (4, 5), "TorqueVerdict": (3, 4)}
"""Which arguments of a finding are sentences."""


def sentences_in_code(path: Path) -> Iterator[str]:
    """Yield each finding of a module that is given words of its own."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        name = getattr(node.func, "id", None) if isinstance(node, ast.Call) else None
        if not isinstance(node, ast.Call) or name not in FOUND:
            continue
        for index in FOUND[name]:
            given = ast.walk(node.args[index]) if len(node.args) > index else ()
            if any(isinstance(each, ast.Constant) and " " in str(each.value) for each in given):
                yield f"{path.relative_to(SERVICE)}:{node.lineno}"


@pytest.mark.parametrize("package", DOMAIN)
def test_no_finding_is_put_into_words_in_code(package: str) -> None:
    found = [each for path in sorted((SERVICE / package).rglob("*.py")) for each in sentences_in_code(path)]
    assert found == [], "say it in data/messages.toml of the package and take it from there (service/catalogue.py)"
