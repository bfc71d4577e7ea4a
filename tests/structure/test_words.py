"""A closed list of words is typed once, in service/words.py: a word that is added there is then known everywhere."""

import ast
from pathlib import Path

from service import words

SERVICE = Path(words.__file__).parent


def lists_of_words(path: Path) -> set[tuple[int, frozenset[str]]]:
    """Return the lists of two or more words that a module writes out, each with its line."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Tuple | ast.List | ast.Set) and len(node.elts) > 1:
            values = [each.value for each in node.elts if isinstance(each, ast.Constant)]
            if len(values) == len(node.elts) and all(isinstance(value, str) for value in values):
                found.add((node.lineno, frozenset(map(str, values))))
    return found


def vocabularies() -> dict[frozenset[str], str]:
    """Return the closed lists of ``service.words`` by their words."""
    return {
        frozenset(value): name
        for name, value in vars(words).items()
        if isinstance(value, tuple) and name.isupper() and name != "SIDES"  # drawn left and right, not a vocabulary
    }


def test_no_closed_list_is_written_out_again() -> None:
    known = vocabularies()
    assert len(known) > 20
    again = [
        f"{path.relative_to(SERVICE)}:{line} writes out words.{known[given]}"
        for path in sorted(SERVICE.rglob("*.py"))
        if path != Path(words.__file__)
        for line, given in lists_of_words(path)
        if given in known
    ]
    assert again == []
