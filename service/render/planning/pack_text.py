"""A job pack as plain text: what is done in which order, what must be at hand, how long it takes."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.render.present import text
from service.words import UnitSystem


def pack_text(pack: Mapping[str, Any], *, units: UnitSystem) -> str:
    """Return the pack for whoever hands it out.

    Parameters
    ----------
    pack : record
        As ``instructions.planning.pack.job_pack`` returns it
    """
    return "\n".join(_lines(pack, units)) + "\n"


def _lines(pack: Mapping[str, Any], units: UnitSystem) -> Iterator[str]:
    yield f"JOB PACK: {len(pack['orders'])} orders"
    yield ""
    yield "ORDER OF WORK"
    for line in pack["sequence"]:
        hours = "hours not known" if line["hours"] is None else text((line["hours"],), units)
        hoist = "; hoist" if line["hoist"] else ""
        yield f"  {line['place']}. {line['asset']}, {line['shaft']}: {', '.join(line['orders'])} ({hours}{hoist})"
        yield f"     {', '.join(line['positions'])}; {text(line['said'], units)}"
    yield ""
    yield "NOT RELEASED OR STOPPED"
    yield from _held_up(pack)
    yield ""
    yield "PARTS"
    for part in pack["parts"]:
        yield f"  [ ] {_number(part, units)}{text(part['said'], units)}{_apart(part, units)}"
    yield ""
    yield "TOOLS"
    for tool in pack["tools"]:
        reach = "; ".join(text(each, units) for each in tool["reaches"])
        yield f"  [ ] {text(tool['said'], units)}{f': {reach}' if reach else ''}"
    yield ""
    total = pack["hours"]["total"]
    said = text(pack["hours"]["said"], units)
    yield f"HOURS: {'not known' if total is None else text((total,), units)} ({said})"
    if pack["crew"] is not None:
        crane = " and a crane driver" if pack["crew"]["crane_driver"] else ""
        yield f"CREW: {pack['crew']['fitters']}{crane}"


def _held_up(pack: Mapping[str, Any]) -> Iterator[str]:
    found = False
    for order in pack["orders"]:
        said = [] if order["released"] else [f"not released, open: {', '.join(_named(order))}"]
        said += [f"STOP {code}" for code in order["blocked"]]
        if said:
            found = True
            yield f"  {order['external']['number']}: {'; '.join(said)}"
    if not found:
        yield "  none"


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
