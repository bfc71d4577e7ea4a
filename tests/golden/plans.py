"""Golden plans: for each machine its inputs and the plan they make, as a file to be read.

A machine file holds ``says`` (what it is there for), ``inputs`` (as a revision keeps them), ``books`` (the site's own,
where it has some) and, added by ``python -m tests.golden --write``, ``plan`` and ``sha256``. The plan is written to be
read: a quantity as ``<80.0 mm dimension>``, also within sentences, what is empty or null left out, and the numbers of
steps, which follow from their order. ``sha256`` is that of the whole record, so that nothing left out can change.
"""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from service import record
from service.instructions.books.books import book_of, site_books
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.units import KINDS, Quantity
from tests.golden.text import Difference, differences, pretty

MACHINES = Path(__file__).parent / "machines"


def names() -> list[str]:
    """Return the golden machines."""
    return sorted(path.stem for path in MACHINES.glob("*.json"))


def kept(name: str) -> dict[str, Any]:
    """Return a machine file as it is kept, quantities tagged."""
    document: dict[str, Any] = json.loads(kept_text(name))
    return document


def kept_text(name: str) -> str:
    """Return a machine file as it is written."""
    return (MACHINES / f"{name}.json").read_text(encoding="utf-8")


def made_now(document: dict[str, Any]) -> dict[str, Any]:
    """Return ``plan`` and ``sha256`` as the inputs of a machine file make them now."""
    given = record.decoded(json.dumps(document))
    books = site_books(book_of(**each) for each in given.get("books", ()))
    whole = plan(job_of_inputs(given["inputs"], books=books))
    return {"plan": _readable(whole), "sha256": record.sha256(whole)}


def _readable(node: Any) -> Any:
    if isinstance(node, Quantity):
        return f"<{node.value!r} {KINDS[node.kind].held_in} {node.kind}>"
    if isinstance(node, dict):
        kept = {member: _readable(value) for member, value in node.items() if member != "number"}
        return {member: value for member, value in kept.items() if value not in (None, [], {}, "")}
    if isinstance(node, tuple):
        return "".join(_readable(part) for part in node)
    return [_readable(item) for item in node] if isinstance(node, list) else node


def written(document: dict[str, Any]) -> str:
    """Return the text of a machine file with the plan that its inputs make now."""
    return pretty({**document, **made_now(document)}) + "\n"


def write(name: str, text: str) -> None:
    """Keep a machine file."""
    (MACHINES / f"{name}.json").write_text(text, encoding="utf-8")


def plan_differences(document: dict[str, Any]) -> list[Difference]:
    """Return where the plan that is kept and the plan that is made now differ."""
    made = made_now(document)
    return list(differences({member: document.get(member) for member in made}, made))


def changed_plans() -> Iterator[tuple[str, list[Difference]]]:
    """Yield each machine whose plan is another than the one kept, with the differences; the hash only where it is all.

    No difference: the plan is the same, but the file is not written as ``--write`` writes it.
    """
    for name in names():
        document = kept(name)
        found = plan_differences(document)
        if found:
            yield name, [each for each in found if each[0] != "/sha256"] or found
        elif written(document) != kept_text(name):
            yield name, []
