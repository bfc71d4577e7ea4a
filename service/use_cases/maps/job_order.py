"""The request that a job order of B2MML means here: its ids looked up among assets, positions and running bearings."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from service.errors import nearest, shown
from service.exchange.b2mml_order import JobOrder, Requirement, job_order, refusal
from service.store.queries import assets, stays
from service.store.queries.assets import AssetRow
from service.store.unit_of_work import Tx

Fault = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class _Site:
    """What the names of an order mean at this site: tags of assets, and (tag, position) of running bearings."""

    tags: frozenset[str]
    bearings: dict[str, list[tuple[str, str]]]

    def tag_of(self, text: str) -> str | None:
        """Return the asset that a text names: its tag, or its tag before a slash and a position."""
        if text in self.tags:
            return text
        before = text.rpartition("/")[0]
        return before if before in self.tags else None


def order_request(tx: Tx, message: Any) -> dict[str, Any]:
    """Return the work-order request of a job order.

    An id is the tag of an asset, the name of a position of it (alone, or TAG/POSITION), or the serial number of a
    bearing that runs. What names none of them is refused, never left out: it may be a position that is misspelt.

    Raises
    ------
    CannotEvaluate
        ``mapping_failed``, with every fault by its place in the message.
    """
    order = job_order(message)
    site = _site(tx, order)
    asset = _asset(tx, order, site)
    positions = _positions(order, site, asset)
    request: dict[str, Any] = {
        "external": {"system": order.system, "number": order.number},
        "asset": asset.tag,
        "positions": positions,
    }
    more = {"kind": order.kind, "opened_at": order.opened_at}
    return request | {name: value for name, value in more.items() if value is not None}


def _texts(order: JobOrder) -> Iterator[str]:
    yield from order.scope
    for each in (*order.equipment, *order.assets):
        yield from (*each.ids, *each.places, each.number)


def _site(tx: Tx, order: JobOrder) -> _Site:
    texts = {text for text in _texts(order) if text}
    parts = {text.rpartition("/")[0] for text in texts if "/" in text}
    tags = assets.tags_among(tx, texts | parts)
    return _Site(frozenset(tags), stays.running_by_serial(tx, {t for each in order.assets for t in each.ids} - tags))


def _asset(tx: Tx, order: JobOrder, site: _Site) -> AssetRow:
    """Return the one asset that the order names."""
    named: dict[str, None] = {}
    for text in _texts(order):
        tag = site.tag_of(text)
        if tag is not None:
            named[tag] = None
    if not named:
        named = {tag: None for each in order.assets for i in each.ids for tag, _ in site.bearings.get(i, ())}
    if len(named) > 1:
        detail = f"names {len(named)} assets of this site, {', '.join(list(named)[:5])}; an order is for one"
        raise refusal(("#/JobOrder/EquipmentRequirement", "several_assets", detail))
    row = assets.asset_by_tag(tx, next(iter(named))) if named else None
    if row is None:
        ids = [*order.scope, *(text for each in (*order.equipment, *order.assets) for text in each.ids)]
        near = nearest(ids, assets.some_tags(tx))
        detail = f"none of {', '.join(map(shown, ids[:5]))} is" if ids else "names no equipment, so none is"
        said = f"{detail} the tag of an asset of this site{near}; GET /v1/assets lists them"
        raise refusal(("#/JobOrder/EquipmentRequirement", "unknown_asset", said))
    return row


def _positions(order: JobOrder, site: _Site, asset: AssetRow) -> list[str]:
    """Return the positions that the order names, in its order, each once."""
    names = [position["name"] for shaft in asset.shafts for position in shaft["positions"]]
    found: dict[str, None] = {}
    faults: list[Fault] = []
    for each in order.equipment:
        found.update(dict.fromkeys(_of_equipment(each, site, asset.tag, names, faults)))
    for each in order.assets:
        found.update(dict.fromkeys(_of_asset(each, site, asset.tag, names, faults)))
    if not found and not faults:
        detail = f"names no position of {asset.tag}; it has {', '.join(names[:12]) or 'none'}"
        faults.append(("#/JobOrder/PhysicalAssetRequirement", "required_target", detail))
    if faults:
        raise refusal(*faults)
    return list(found)


def _of_equipment(
    given: Requirement, site: _Site, tag: str, names: list[str], faults: list[Fault]
) -> Iterator[str]:  # fmt: skip
    """Yield the positions of an EquipmentRequirement: every id but the machine's own is one of them."""
    if given.passed_over:
        return
    texts = [text for text in given.ids if text != tag]
    places = [text for text in given.places if text and text != tag]
    if not given.ids and not places:
        texts = [given.number] if _position(given.number, tag, names) else []
    for text in (*texts, *places):
        position = _position(text, tag, names)
        if position is not None:
            yield position
        else:
            faults.append(_unknown(f"{given.pointer}/EquipmentID", text, tag, names))


def _of_asset(given: Requirement, site: _Site, tag: str, names: list[str], faults: list[Fault]) -> Iterator[str]:
    """Yield the positions of a PhysicalAssetRequirement: by its property or location, else its ids, else its own ID."""
    if given.passed_over:
        return
    places = [text for text in given.places if text and text != tag]
    if places:
        for text in places:
            position = _position(text, tag, names)
            if position is not None:
                yield position
            else:
                faults.append(_unknown(given.pointer, text, tag, names))
        return
    texts = [text for text in given.ids if text != tag]
    if not texts and (given.ids or _position(given.number, tag, names) is None):
        if not given.ids:
            faults.append(_unknown(given.pointer, given.number, tag, names))
        return
    for text in texts or [given.number]:
        position = _position(text, tag, names) or _position_of_serial(text, site, tag)
        if position is not None:
            yield position
        else:
            faults.append(_unknown(f"{given.pointer}/PhysicalAssetID", text, tag, names, serial=True))


def _position(text: str, tag: str, names: list[str]) -> str | None:
    if text in names:
        return text
    before, _, after = text.rpartition("/")
    return after if before == tag and after in names else None


def _position_of_serial(text: str, site: _Site, tag: str) -> str | None:
    """Return the position of the one running bearing of this machine with this serial number."""
    places = [position for where, position in site.bearings.get(text, ()) if where == tag]
    return places[0] if len(places) == 1 else None


def _unknown(pointer: str, text: str, tag: str, names: list[str], *, serial: bool = False) -> Fault:
    known = f"{tag} has {', '.join(names[:12]) or 'no positions'}"
    other = ", nor the serial number of one bearing that runs on it" if serial else ""
    detail = f"{shown(text)} is no position of {tag}{other}{nearest([text], names)}; {known}"
    return pointer, "unknown_position", detail
