"""The machine on record: what is checked when it is registered, and how two descriptions are compared.

A machine is never refused for what it is like (two locating bearings are a matter for its plan); it is refused when
it cannot be read: a designation, a housing size or a name that does not stand for one thing.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from service.errors import CannotEvaluate
from service.instructions.plan.bolts import fitted_bolts
from service.instructions.plan.job import bearing_of, housing_of
from service.reference.housings import Housing
from service.units import Quantity

NAMED_LISTS = ("shafts", "positions")


def normalised_machine(document: Mapping[str, Any], *, housings: Mapping[str, Housing] | None = None) -> dict[str, Any]:
    """Return the machine with its designations as we write them.

    Parameters
    ----------
    housings : dict
        The site's own housings by name

    Raises
    ------
    CannotEvaluate
        A designation or housing that cannot be read, a name used twice; the field names where.
    """
    shafts = [_normalised_shaft(shaft, f"shafts/{n}", housings or {}) for n, shaft in enumerate(document["shafts"])]
    _unique([(shaft["name"], f"shafts/{n}/name") for n, shaft in enumerate(shafts)], "shaft", "asset")
    places = [
        (position["name"], f"shafts/{n}/positions/{m}/name")
        for n, shaft in enumerate(shafts)
        for m, position in enumerate(shaft["positions"])
    ]
    _unique(places, "position", "asset")
    return {"tag": document["tag"], "name": document["name"], "shafts": shafts}


def _normalised_shaft(shaft: Mapping[str, Any], field: str, housings: Mapping[str, Housing]) -> dict[str, Any]:
    positions = [normalised_position(p, f"{field}/positions/{m}", housings) for m, p in enumerate(shaft["positions"])]
    return {**shaft, "drives": shaft.get("drives", []), "positions": positions}


def normalised_position(
    position: Mapping[str, Any], field: str, housings: Mapping[str, Housing] | None = None
) -> dict[str, Any]:
    """Return the position with its bearing as we write it; its bearing, housing and bolts can be read."""
    normalised = dict(position)
    if "bearing" in position:
        normalised["bearing"] = normalised_bearing(position["bearing"], f"{field}/bearing")
    housing_of(position.get("housing"), f"{field}/housing", housings=housings)
    for bolts in ("cap_bolts", "base_bolts"):
        fitted_bolts(position.get(bolts), f"{field}/{bolts}")
    return normalised


def names_housings(document: Mapping[str, Any]) -> bool:
    """Return whether a position of the machine names one of the site's own housings."""
    return any("name" in position.get("housing", {}) for shaft in document["shafts"] for position in shaft["positions"])


def normalised_bearing(document: Mapping[str, Any], field: str) -> dict[str, Any]:
    """Return the bearing document with its designation as we write it."""
    bearing = bearing_of(document, field)
    if "designation" in document and bearing is not None and bearing.designation is not None:
        return {"designation": bearing.designation}
    return dict(document)


def _unique(names: list[tuple[str, str]], what: str, within: str) -> None:
    seen: set[str] = set()
    for name, field in names:
        if name in seen:
            detail = f"two {what}s of one {within} are called {name}; give each its own name"
            raise CannotEvaluate(detail, code="name_not_unique", field=field)
        seen.add(name)


def differences(stored: Any, sent: Any, pointer: str = "") -> Iterator[dict[str, Any]]:
    """Yield where what was sent differs from what is stored; members that were not sent do not count.

    Shafts and positions are matched by name, whatever their order.
    """
    if isinstance(sent, Mapping) and isinstance(stored, Mapping):
        for member, value in sent.items():
            below = f"{pointer}/{member}"
            if member in NAMED_LISTS:
                yield from _named_differences(stored.get(member, []), value, below)
            else:
                yield from differences(stored.get(member), value, below)
    elif isinstance(sent, list) and isinstance(stored, list) and len(sent) == len(stored):
        for n, (before, value) in enumerate(zip(stored, sent, strict=True)):
            yield from differences(before, value, f"{pointer}/{n}")
    elif not _same(stored, sent):
        yield {"pointer": pointer, "stored": stored, "sent": sent}


def _named_differences(stored: list[Any], sent: list[Any], pointer: str) -> Iterator[dict[str, Any]]:
    by_name = {item["name"]: item for item in stored}
    for n, item in enumerate(sent):
        if item["name"] in by_name:
            yield from differences(by_name.pop(item["name"]), item, f"{pointer}/{n}")
        else:
            yield {"pointer": f"{pointer}/{n}", "stored": None, "sent": item["name"]}
    for name in by_name:
        yield {"pointer": pointer, "stored": name, "sent": None}


def _same(stored: Any, sent: Any) -> bool:
    if isinstance(stored, Quantity) and isinstance(sent, Quantity):
        return stored.kind == sent.kind and abs(stored.value - sent.value) <= 1e-9 * max(1.0, abs(stored.value))
    return bool(stored == sent)
