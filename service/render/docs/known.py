"""What the service knows of itself and the documentation shows: examples, rules, codes, tables."""

import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from service.reference import tables
from service.render.docs.marked import Heading, Term, slug
from service.rules import rules

DATA: Final = Path(__file__).parent / "data"


@dataclass(frozen=True, slots=True)
class Known:
    """What only the API knows: status and meaning of each problem code, and the OpenAPI document."""

    problems: Mapping[str, tuple[int, str]]
    contract: Callable[[], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Example:
    """A request that the tests run, and what stands in its answer by JSON Pointer."""

    title: str
    says: str
    path: str
    body: Mapping[str, Any]
    answer: Mapping[str, Any]

    @property
    def id(self) -> str:
        """Return its anchor."""
        return slug(self.title)

    @property
    def written(self) -> str:
        """Return the body as it is typed."""
        return json.dumps(self.body, indent=1, ensure_ascii=False)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a page shows of it: the values of its template, the headings and the words of the index that it brings."""

    values: Mapping[str, Any]
    headings: tuple[Heading, ...]
    terms: tuple[Term, ...]


@cache
def examples() -> tuple[Example, ...]:
    """Return the worked examples."""
    return tuple(Example(**each) for each in json.loads((DATA / "examples.json").read_text(encoding="utf-8")))


@cache
def blocked() -> dict[str, tuple[str, str]]:
    """Return the rule and the meaning of each code of ``blocked``."""
    kept = tomllib.loads((DATA / "blocked.toml").read_text(encoding="utf-8"))
    return {code: (rule, says) for code, (rule, says) in sorted(kept.items())}


def shown_examples(known: Known) -> Shown:
    """Return the worked examples."""
    return Shown({"examples": examples()}, tuple(Heading(2, each.id, each.title) for each in examples()), ())


def shown_problems(known: Known) -> Shown:
    """Return the problem codes by status, each at the anchor that ``type`` names."""
    codes = sorted(known.problems.items(), key=lambda each: (each[1][0], each[0]))
    return Shown({"codes": codes}, (), tuple(Term(code, code) for code in known.problems))


def shown_blocked(known: Known) -> Shown:
    """Return the codes in ``blocked``."""
    return Shown({"codes": blocked()}, (), tuple(Term(code, code) for code in blocked()))


def shown_rules(known: Known) -> Shown:
    """Return the rules with their ids."""
    return Shown({"rules": rules()}, (), tuple(Term(f"{rule['title']} ({id})", id) for id, rule in rules().items()))


def shown_tables(known: Known) -> Shown:
    """Return the built-in tables, where they come from and how far they were checked."""
    found = [(tables.provenance(name), name, len(tables.rows(name))) for name in tables.names()]
    headings = tuple(Heading(2, name, table.source.title) for table, name, _ in found)
    return Shown({"tables": found, "version": tables.DATA_VERSION}, headings, ())
