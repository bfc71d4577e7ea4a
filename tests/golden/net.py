"""The net as a whole: what is wrong, which version to raise, and making the golden files anew."""

from collections.abc import Iterator
from typing import Any

from service import ENGINE_VERSION
from service.reference.tables import DATA_VERSION
from tests.golden import engine, locks, plans
from tests.golden.text import ABSENT, Difference, differences, said

RAISE_ENGINE = "raise ENGINE_VERSION in service/__init__.py"
WRITE = "python -m tests.golden --write"
LOCK = "python -m tests.golden --lock"
SAME = f"{WRITE} --same-version"


def faults() -> Iterator[str]:
    """Yield everything that is wrong, each with what to do about it."""
    of_tables = locks.data_faults()
    yield from of_tables
    if not of_tables and not locks.is_current():
        yield f"the tables are not locked with DATA_VERSION {DATA_VERSION}: {LOCK}"
    yield from engine_faults()
    yield from plan_faults(bool(of_tables))


def engine_faults() -> Iterator[str]:
    """Yield steps, limits and machine files that differ from those kept."""
    before, after = engine.kept(), engine.now()
    found = list(engine.engine_differences(before, after))
    if found:
        yield f"steps or limits are not those kept:\n{said(found)}\n  {_advice(before)}"
    for name in sorted(before["machines"].keys() | after["machines"].keys()):
        if before["machines"].get(name) != after["machines"].get(name):
            there = "a new machine" if name not in before["machines"] else "not the file that is kept"
            yield f"machines/{name}.json: {there}; {SAME} adds a machine, {WRITE} makes all anew"


def plan_faults(tables_differ: bool = False) -> Iterator[str]:
    """Yield each difference between the plans kept and made now, once, with the machines that show it."""
    why = f"{locks.RAISE}, since a table changed" if tables_differ else _advice(engine.kept())
    where: dict[str, list[str]] = {}
    for name, found in plans.changed_plans():
        if not found:
            yield f"machines/{name}.json holds the plan of now, but is not written as {WRITE} writes it"
        for each in found:
            where.setdefault(said([each]), []).append(name)
    for words, names in where.items():
        yield f"{_listed(names)}:\n{words}\n  {why}"


def _listed(names: list[str], most: int = 5) -> str:
    """Return which plans are others."""
    if len(names) == 1:
        return f"the plan of {names[0]} is another"
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{len(names)} plans are others, those of {', '.join(names[:most])}{more}"


def _advice(before: dict[str, str]) -> str:
    """Return which version to raise, or the command where one was raised."""
    if raised(before):
        return f"a version was raised: {WRITE}"
    return (
        f"{RAISE_ENGINE} (now {ENGINE_VERSION}) when this is meant, then {WRITE}; a table that changed: {locks.RAISE}"
    )


def raised(before: dict[str, str]) -> bool:
    """Return whether a version is higher than the one kept and none is lower."""
    pairs = ((ENGINE_VERSION, before["engine_version"]), (DATA_VERSION, before["data_version"]))
    numbers = [(locks.number(now), locks.number(then)) for now, then in pairs]
    return all(now >= then for now, then in numbers) and any(now > then for now, then in numbers)


def write(*, same_version: bool = False) -> str:
    """Make the golden plans anew, or add machines under the same versions; return what was done.

    Raises
    ------
    SystemExit
        No version was raised; under the same versions, something that is kept would change.
    """
    before = engine.kept()
    if locks.data_faults() or not locks.is_current():
        raise SystemExit(f"the tables come first: {LOCK}")
    texts = {name: plans.written(plans.kept(name)) for name in plans.names()}
    if same_version:
        _refuse_change(before, texts)
    elif not raised(before):
        raise SystemExit(
            f"ENGINE_VERSION {ENGINE_VERSION} and DATA_VERSION {DATA_VERSION} are those of the golden plans: raise the "
            f"one that changed. To add machines only: {SAME}"
        )
    changed = [name for name, text in texts.items() if text != plans.kept_text(name)]
    for name in changed:
        plans.write(name, texts[name])
    engine.keep(engine.now())
    made = f"{len(texts)} golden plans, engine {ENGINE_VERSION}, tables {DATA_VERSION}"
    return f"{made}; written: {', '.join(changed) or 'none'}"


def _refuse_change(before: dict[str, Any], texts: dict[str, str]) -> None:
    """Refuse whatever is more than a new machine, or a new limit that changes no plan."""
    after = engine.now()
    found = list(differences(*({k: v for k, v in each.items() if k.endswith("version")} for each in (before, after))))
    found += [each for each in engine.engine_differences(before, after) if not _is_new_limit(each)]
    for name, kept in before["machines"].items():
        if after["machines"].get(name) != kept or texts[name] != plans.kept_text(name):
            found.append((f"/machines/{name}", "as kept", "another"))
    if found:
        raise SystemExit(f"--same-version adds machines and changes nothing else:\n{said(found)}")


def _is_new_limit(found: Difference) -> bool:
    path, old, _ = found
    return path.startswith("/limits/") and old == ABSENT
