"""What is wrong with the tables: values that differ from their lock and are not accounted for."""

from collections.abc import Iterator, Mapping, Sequence

from service.reference.tables import DATA_VERSION
from tests.golden.changes import CHANGES, NONE, Change, NotThisTable, changes, undone
from tests.golden.tables import Locked, Locks, Rows, locked, read_locks, row_digest, tables, write_locks

RAISE = "raise DATA_VERSION in service/reference/tables.py"
LINE = "| table | row | column | old | new | publication |"


def number(version: str) -> tuple[int, ...]:
    """Return a version as numbers, so that 2026.12 comes after 2026.9."""
    return tuple(int(part) for part in version.split("."))


def table_faults(name: str, rows: Rows, lock: Locks, lines: Sequence[Change], version: str) -> Iterator[str]:
    """Yield what is wrong with one table.

    Parameters
    ----------
    rows : mapping
        The table as it is
    lock : Locks
        The tables as they are locked
    lines : sequence of Change
        The lines of CHANGES.md
    version : str
        DATA_VERSION as it is
    """
    kept = lock.tables.get(name, Locked({}, {}))
    found = list(_changed(rows, kept))
    if not found:
        return
    if number(version) <= number(lock.data_version):
        for each in found:
            yield f"{name}, {each}; {RAISE}, now {version}, and say in {CHANGES.name}: {LINE}"
        return
    try:
        before = undone(name, rows, [line for line in lines if line.version == version])
    except NotThisTable as wrong:
        yield f"{CHANGES.name}, {wrong}"
        return
    if locked(before).digest == kept.digest:
        return
    for each in _changed(before, kept):
        yield f"{name}, {each}; {CHANGES.name} does not account for it under '## {version}': {LINE}"


def _changed(rows: Rows, kept: Locked) -> Iterator[str]:
    """Yield in words each row that differs from the lock; the column where one row is changed, else those it may be."""
    now = {key: row_digest(row) for key, row in rows.items()}
    if now == kept.rows and list(now) == list(kept.rows):
        return
    for key in kept.rows.keys() - now.keys():
        yield f"row {key} is locked and not there any more"
    for key in now.keys() - kept.rows.keys():
        yield f"row {key} is new"
    changed = [key for key in now if key in kept.rows and now[key] != kept.rows[key]]
    digests = locked(rows).columns if changed else {}
    columns = [
        each
        for each in (*digests, *(kept.columns.keys() - digests.keys()))
        if digests.get(each) != kept.columns.get(each)
    ]
    for key in changed:
        cells = ", ".join(f"{column} is now {rows[key].get(column) or NONE}" for column in columns)
        yield f"row {key}: {cells or 'the row'} and was locked otherwise"
    if not changed and now.keys() == kept.rows.keys():
        yield "the rows stand in another order"


def data_faults(version: str = DATA_VERSION) -> list[str]:
    """Return what is wrong with all tables, their versions and CHANGES.md."""
    lock, now, lines = read_locks(), tables(), changes()
    found = [fault for name, rows in now.items() for fault in table_faults(name, rows, lock, lines, version)]
    found += [f"{name} is locked and not there any more; {RAISE}" for name in lock.tables.keys() - now.keys()]
    if number(version) < number(lock.data_version):
        found.append(f"DATA_VERSION is {version}, the tables are locked with {lock.data_version}: {RAISE}")
    return found + list(history_faults(now, lock, lines))


def history_faults(now: Mapping[str, Rows], lock: Locks, lines: Sequence[Change]) -> Iterator[str]:
    """Yield where tables of earlier versions cannot be had from those of today and CHANGES.md any more."""
    state = dict(now)
    pending = [line for line in lines if number(line.version) > number(lock.data_version)]
    later = lock.data_version
    try:
        state = {name: undone(name, rows, pending) for name, rows in state.items()}
        for version, digests in lock.before:
            of_later = [line for line in lines if line.version == later]
            state = {name: undone(name, rows, of_later) for name, rows in state.items()}
            for name, kept in digests.items():
                if locked(state.get(name, {})).digest != kept:
                    yield f"{name} of {version} is not what {CHANGES.name} makes of {later}: a line was changed"
            later = version
    except NotThisTable as wrong:
        yield f"{CHANGES.name}, {wrong}"


def is_current(version: str = DATA_VERSION) -> bool:
    """Return whether the locks are those of this data version and of the tables as they are."""
    lock = read_locks()
    return lock.data_version == version and {n: locked(r).digest for n, r in tables().items()} == {
        name: each.digest for name, each in lock.tables.items()
    }


def renew(version: str = DATA_VERSION) -> str:
    """Lock the tables as they are; return what was done.

    Raises
    ------
    SystemExit
        Something changed without a raised version, or without its line in CHANGES.md.
    """
    faults = data_faults(version)
    if faults:
        raise SystemExit("\n".join(faults))
    lock, now = read_locks(), {name: locked(rows) for name, rows in tables().items()}
    changed = {name: each.digest for name, each in lock.tables.items() if name not in now or now[name] != each}
    before = ((lock.data_version, changed), *lock.before) if changed else tuple(lock.before)
    write_locks(Locks(version, now, before))
    return f"locked {len(now)} tables with {version}; changed since {lock.data_version}: {', '.join(changed) or 'none'}"
