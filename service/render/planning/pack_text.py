"""A job pack in words: what is done in which order, what must be at hand, how long it takes."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.render.present import text
from service.render.sections import NONE, TICK, Section, section_text
from service.words import UnitSystem


def pack_text(pack: Mapping[str, Any], *, units: UnitSystem) -> str:
    """Return the pack for whoever hands it out.

    Parameters
    ----------
    pack : record
        As ``instructions.planning.pack.job_pack`` returns it
    """
    return section_text(f"JOB PACK: {len(pack['orders'])} orders", sections(pack, units))


def sections(pack: Mapping[str, Any], units: UnitSystem) -> Iterator[Section]:
    """Yield the parts of a pack in the order in which they are read."""
    yield Section("Order of work", tuple(_sequence(pack, units)))
    yield Section("Not released or stopped", tuple(_held_up(pack)) or NONE)
    parts = [f"{_number(part, units)}{text(part['said'], units)}{_apart(part, units)}" for part in pack["parts"]]
    yield Section("Parts", tuple((TICK, part) for part in parts))
    yield Section("Tools", tuple((TICK, _tool(tool, units)) for tool in pack["tools"]))
    yield Section("Hours", tuple(_hours(pack, units)))


def _sequence(pack: Mapping[str, Any], units: UnitSystem) -> Iterator[tuple[str, str]]:
    for line in pack["sequence"]:
        hours = "hours not known" if line["hours"] is None else text((line["hours"],), units)
        hoist = "; hoist" if line["hoist"] else ""
        yield f"{line['place']}.", f"{line['asset']}, {line['shaft']}: {', '.join(line['orders'])} ({hours}{hoist})"
        yield "", f"{', '.join(line['positions'])}; {text(line['said'], units)}"


def _held_up(pack: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    for order in pack["orders"]:
        said = [] if order["released"] else [f"not released, open: {', '.join(_named(order))}"]
        said += [f"STOP {code}" for code in order["blocked"]]
        if said:
            yield f"{order['external']['number']}:", "; ".join(said)


def _named(order: Mapping[str, Any]) -> list[str]:
    return [
        each["id"] if each["position"] is None else f"{each['id']} {each['position']}" for each in order["red_open"]
    ]


def _number(part: Mapping[str, Any], units: UnitSystem) -> str:
    if part["count"] is not None:
        return f"{part['count']} x "
    return "" if part["amount"] is None else f"{text((part['amount'],), units)} "


def _apart(part: Mapping[str, Any], units: UnitSystem) -> str:
    mass = [] if part["mass"] is None else [f"{text((part['mass'],), units)} each"]
    note = [] if part["note"] is None else [text(part["note"], units)]
    orders = [f"for {', '.join(part['orders'])}"]
    return f" ({'; '.join([*mass, *note, *orders])})"


def _tool(tool: Mapping[str, Any], units: UnitSystem) -> str:
    reach = "; ".join(text(each, units) for each in tool["reaches"])
    return f"{text(tool['said'], units)}{f': {reach}' if reach else ''}"


def _hours(pack: Mapping[str, Any], units: UnitSystem) -> Iterator[tuple[str, str]]:
    total = pack["hours"]["total"]
    yield "hours:", f"{'not known' if total is None else text((total,), units)} ({text(pack['hours']['said'], units)})"
    if pack["crew"] is not None:
        crane = " and a crane driver" if pack["crew"]["crane_driver"] else ""
        yield "crew:", f"{pack['crew']['fitters']}{crane}"
