"""The shafts and positions of an asset: which of those stored a document means, and what may be dropped."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from service import record
from service.errors import CannotEvaluate, Conflict
from service.store import models
from service.store.identity import canonical_id, new_id
from service.store.transaction import Tx

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Placed:
    """A position of a document, with the identifier it gets and the shaft it goes to."""

    id: str
    name: str
    values: dict[str, Any]
    members: Document


def check_names(shafts: list[Document]) -> None:
    """Refuse a document that names a shaft, a position or an id twice.

    Raises
    ------
    CannotEvaluate
        ``position_named_twice``, ``shaft_named_twice``
    """
    seen_shafts: set[str] = set()
    seen: set[str] = set()
    for path, position in _with_paths(shafts):
        for member in ("id", "name"):
            value = position.get(member)
            if value is None:
                continue
            if f"{member} {value}" in seen:
                said = f"The {member} {value!r} is given to two positions of the asset."
                raise CannotEvaluate(said, code="position_named_twice", field=f"{path}/{member}")
            seen.add(f"{member} {value}")
    for number, shaft in enumerate(shafts):
        if shaft["name"] in seen_shafts:
            said = f"The name {shaft['name']!r} is given to two shafts of the asset."
            raise CannotEvaluate(said, code="shaft_named_twice", field=f"shafts/{number}/name")
        seen_shafts.add(shaft["name"])


def replace_shafts(tx: Tx, asset_id: str, shafts: list[Document], *, fresh: bool) -> list[Document]:
    """Store the shafts with their positions instead of those on record, and return them with ids.

    Parameters
    ----------
    fresh : bool
        Whether nothing is on record yet, so that nothing has to be looked up.
    """
    known_shafts = {} if fresh else _known(tx, models.Shaft, asset_id)
    known = {} if fresh else _known(tx, models.Position, asset_id)
    shaft_ids = [known_shafts.get(shaft["name"]) or new_id() for shaft in shafts]
    placed = list(_placed(shafts, shaft_ids, known, asset_id))
    if not fresh:
        _drop(tx, models.Position, set(known.values()) - {position.id for position in placed})
    _store(tx, models.Shaft, _shaft_rows(shafts, shaft_ids, asset_id), set(known_shafts.values()))
    _vacate_names(tx, placed, known)
    _store(tx, models.Position, [position.values | {"id": position.id} for position in placed], set(known.values()))
    if not fresh:
        _drop(tx, models.Shaft, set(known_shafts.values()) - set(shaft_ids))
    return _returned(shafts, placed)


def with_history(tx: Tx, *, asset_id: str | None = None, position_ids: Iterable[str] = ()) -> list[str]:
    """Return the names of those positions that have stays or work orders."""
    position, stay, ordered = models.Position, models.Stay, models.WorkOrderPosition
    stays = sa.exists().where(stay.site_id == position.site_id, stay.position_id == position.id)
    orders = sa.exists().where(ordered.site_id == position.site_id, ordered.position_id == position.id)
    chosen = position.asset_id == asset_id if asset_id is not None else position.id.in_(list(position_ids))
    statement = sa.select(position.name).where(position.site_id == tx.site_id, chosen, stays | orders)
    return list(tx.connection.execute(statement.order_by(position.name)).scalars())


def _with_paths(shafts: list[Document]) -> Iterator[tuple[str, Document]]:
    for number, shaft in enumerate(shafts):
        for place, position in enumerate(shaft["positions"]):
            yield f"shafts/{number}/positions/{place}", position


def _known(tx: Tx, table: type[models.Shaft] | type[models.Position], asset_id: str) -> dict[str, str]:
    """Return the ids on record by name."""
    statement = sa.select(table.name, table.id).where(table.site_id == tx.site_id, table.asset_id == asset_id)
    return {name: identifier for name, identifier in tx.connection.execute(statement)}


def _placed(shafts: list[Document], shaft_ids: list[str], known: dict[str, str], asset_id: str) -> Iterator[_Placed]:
    """Yield the positions with their ids: the one that is sent, else that of the name, else a new one."""
    sent = {canonical_id(str(position["id"])) for _, position in _with_paths(shafts) if position.get("id")}
    ids = iter(shaft_ids)
    for number, shaft in enumerate(shafts):
        shaft_id = next(ids)
        for place, position in enumerate(shaft["positions"]):
            field = f"shafts/{number}/positions/{place}/id"
            identifier = _identifier(position, known, sent, field)
            rest = {name: value for name, value in position.items() if name not in ("id", "name")}
            values = {"asset_id": asset_id, "shaft_id": shaft_id, "name": position["name"], "ordinal": place}
            values |= {"document": record.encoded(rest), **_copies(rest)}
            yield _Placed(identifier, position["name"], values, rest)


def _copies(document: Document) -> dict[str, Any]:
    """Return the columns that questions about many positions ask for, copied out of the document."""
    rated_life = document.get("rated_life")
    return {
        "role": document.get("role"),
        "housing": housing_name(document.get("housing")),
        "duty": document.get("duty"),
        "rated_life_h": None if rated_life is None else rated_life.value,
    }


def housing_name(housing: Document | None) -> str | None:
    """Return what a housing is called: its name, or size and dimensions; None when it is known by its seat alone."""
    if not housing:
        return None
    if "name" in housing:
        return str(housing["name"])
    words = (housing.get("size"), housing.get("dimensions"))
    return " ".join(str(word) for word in words if word) or None


def _identifier(position: Document, known: dict[str, str], sent: set[str | None], field: str) -> str:
    if position.get("id"):
        identifier = canonical_id(str(position["id"]))
        if identifier is None or identifier not in known.values():
            said = f"The asset has no position with the id {position['id']!r}."
            raise CannotEvaluate(said, code="unknown_position", field=field)
        return identifier
    of_name = known.get(position["name"])
    return new_id() if of_name is None or of_name in sent else of_name


def _shaft_rows(shafts: list[Document], shaft_ids: list[str], asset_id: str) -> list[dict[str, Any]]:
    rows = []
    for ordinal, (shaft, shaft_id) in enumerate(zip(shafts, shaft_ids, strict=True)):
        rest = {name: value for name, value in shaft.items() if name not in ("id", "name", "positions")}
        row = {"id": shaft_id, "asset_id": asset_id, "name": shaft["name"], "ordinal": ordinal}
        rows.append(row | {"document": record.encoded(rest)})
    return rows


def _store(
    tx: Tx, table: type[models.Shaft] | type[models.Position], rows: list[dict[str, Any]], known: set[str]
) -> None:
    """Insert the rows that are new and update those that are known."""
    new = [row | {"site_id": tx.site_id} for row in rows if row["id"] not in known]
    if new:
        tx.connection.execute(sa.insert(table), new)
    for row in rows:
        if row["id"] in known:
            mine = (table.site_id == tx.site_id, table.id == row["id"])
            values = {name: value for name, value in row.items() if name != "id"}
            tx.connection.execute(sa.update(table).where(*mine).values(values))


def _vacate_names(tx: Tx, placed: list[_Placed], known: dict[str, str]) -> None:
    """Give positions that are renamed a name nobody has, so that two may swap theirs."""
    on_record = set(known.values())
    table = models.Position
    for position in placed:
        if position.id in on_record and known.get(position.name) != position.id:
            mine = (table.site_id == tx.site_id, table.id == position.id)
            tx.connection.execute(sa.update(table).where(*mine).values(name=f"\x1f{position.id}"))


def _drop(tx: Tx, table: type[models.Shaft] | type[models.Position], gone: set[str]) -> None:
    """Delete rows that the document no longer has.

    Raises
    ------
    Conflict
        ``position_has_history``
    """
    if not gone:
        return
    if table is models.Position:
        names = with_history(tx, position_ids=gone)
        if names:
            said = f"Stays or work orders hang on the position {', '.join(names)}; it cannot be dropped."
            raise Conflict(said, code="position_has_history", positions=names)
    tx.connection.execute(sa.delete(table).where(table.site_id == tx.site_id, table.id.in_(sorted(gone))))


def _returned(shafts: list[Document], placed: list[_Placed]) -> list[Document]:
    """Return the document as a later query would: ids first."""
    positions = iter(placed)
    returned = []
    for shaft in shafts:
        rest = {name: value for name, value in shaft.items() if name not in ("id", "name", "positions")}
        of_shaft = [next(positions) for _ in shaft["positions"]]
        members = [{"id": position.id, "name": position.name, **position.members} for position in of_shaft]
        returned.append({"name": shaft["name"], **rest, "positions": members})
    return returned
