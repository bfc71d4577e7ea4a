"""Naming the attributes of a site's stays: declared beforehand, or by their first use; one type each."""

from collections.abc import Iterable, Mapping
from typing import Any

from service.errors import CannotEvaluate, Conflict, NotFound, nearest, shown
from service.history.attributes import MOST, Value, as_type, type_of
from service.store.queries import attributes
from service.store.queries.attributes import AttributeRow
from service.store.unit_of_work import Event, Tx
from service.words import AttributeType


def attribute_of(tx: Tx, name: str) -> AttributeRow:
    """Return a name of the site.

    Raises
    ------
    NotFound
        It has none such.
    """
    rows = {row.name: row for row in attributes.attribute_rows(tx)}
    if name not in rows:
        near = nearest([name], rows)
        said = (
            f"no attribute of this site's stays has the name {shown(name)}{near}; GET /v1/stays/attributes lists them"
        )
        raise NotFound(said)
    return rows[name]


def name_attributes(tx: Tx, types: Mapping[str, AttributeType]) -> list[Event]:
    """Store names that are used for the first time.

    Raises
    ------
    CannotEvaluate
        ``too_many_attributes``
    """
    if not types:
        return []
    attributes.hold_names(tx)
    known = attributes.attribute_types(tx)
    new = {name: kind for name, kind in types.items() if name not in known}
    check_number(len(known) + len(new))
    attributes.insert_attributes(tx, new)
    return [_named(name, kind) for name, kind in sorted(new.items())]


def settle_attributes(tx: Tx, given: Iterable[tuple[str, Mapping[str, Value]]]) -> list[Event]:
    """Hold attributes against the types of their names, and store the names that are new.

    Parameters
    ----------
    given : iterable of (path, attributes)
        Attributes with where they stand in the request.

    Raises
    ------
    CannotEvaluate
        ``attribute_type_differs``, ``too_many_attributes``
    """
    used = [(path, name, value) for path, values in given for name, value in values.items()]
    if not used:
        return []
    known = attributes.attribute_types(tx)
    new: dict[str, AttributeType] = {}
    for path, name, value in used:
        kind = known.get(name) or new.setdefault(name, type_of(value) or "text")
        try:
            as_type(value, kind, name)
        except CannotEvaluate as wrong:
            raise CannotEvaluate(str(wrong), code=wrong.code, field=f"{path}/{name}") from None
    return name_attributes(tx, new)


def declare_attribute(tx: Tx, name: str, *, kind: AttributeType, description: str | None) -> tuple[AttributeRow, Any]:
    """Store a name, or change its description; its type only while no stay uses it. Return it, and the event if any.

    Raises
    ------
    CannotEvaluate
        ``too_many_attributes``
    Conflict
        ``attribute_in_use``
    """
    attributes.hold_names(tx)
    before = {row.name: row for row in attributes.attribute_rows(tx)}
    known = before.get(name)
    if known is None:
        check_number(len(before) + 1)
        attributes.insert_attributes(tx, {name: kind}, description=description)
        return attribute_of(tx, name), _named(name, kind)
    if known.type != kind:
        _check_unused(tx, name)
    if (known.type, known.description) == (kind, description):
        return known, None
    attributes.change_attribute(tx, name, kind=kind, description=description)
    return attribute_of(tx, name), _named(name, kind)


def forget_attribute(tx: Tx, name: str) -> Event:
    """Delete a name that no stay uses.

    Raises
    ------
    Conflict
        ``attribute_in_use``
    NotFound
        The site has no such name.
    """
    attributes.hold_names(tx)
    attribute_of(tx, name)
    _check_unused(tx, name)
    attributes.delete_attribute(tx, name)
    return Event("stay_attribute.deleted", "stay_attribute", name)


def check_number(names: int) -> None:
    """Refuse more names than a site may have.

    Raises
    ------
    CannotEvaluate
        ``too_many_attributes``
    """
    if names > MOST:
        said = f"the stays of this site would have {names} names of attributes; at most {MOST} are taken"
        raise CannotEvaluate(said, code="too_many_attributes", field="attributes")


def _check_unused(tx: Tx, name: str) -> None:
    used = attributes.stay_with_attribute(tx, name)
    if used is not None:
        said = f"stay {used} has an attribute {name}; a name that is used keeps its type"
        raise Conflict(said, code="attribute_in_use", field="type")


def _named(name: str, kind: AttributeType) -> Event:
    return Event("stay_attribute.named", "stay_attribute", name, None, None, {"type": kind})
