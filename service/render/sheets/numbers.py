"""Sheet 1, the numbers: for each bearing its lines in the order in which they are used."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from service.instructions.plan.clearance_facts import clearance_facts, no_window
from service.render.sheets.content import (
    FREE,
    HELD,
    Choice,
    Column,
    Label,
    Numbered,
    Part,
    Rule,
    Table,
    Value,
)
from service.render.sheets.figures import CELL, Blank, digits
from service.render.sheets.scene import Plan
from service.units import Quantity

STOP: Final = Value("STOP, see above", "medium")
BOOK: Final = Label("book:", bold=True)
TWO_ROWS: Final = ("row 1", "row 2")


def columns(plan: Plan) -> tuple[Column, ...]:
    """Return a column for every support of the shaft, in its order; those not worked on only say what concerns them."""
    return tuple(_column(plan, name) for name in plan.supports)


def _column(plan: Plan, name: str) -> Column:
    target = plan.targets.get(name)
    bearing = (target or {}).get("bearing")
    said = "" if bearing is None else bearing["designation"] or f"bore {plan.figures.number(bearing['bore'])}"
    worked = name in plan.worked
    lines = tuple(_worked_lines(plan, name, target or {}) if worked else _other_lines(plan, name))
    return Column(name, plan.role(name), said, worked, lines)


def _worked_lines(plan: Plan, name: str, target: Mapping[str, Any]) -> Iterator[Numbered]:
    if plan.record["kind"] == "replacement":
        yield _shaft(plan, name)
        yield _initial(plan, name, target)
        if _heating(plan, name) is not None:
            yield from _by_heat(plan, name, target)
        elif plan.step("residual_clearance", name) is not None:
            yield from _clearance(plan, name, target)
        else:
            yield from _by_feel(plan, name, target)
    yield _seat(plan, name)
    yield from _bolts(plan, name)


def _other_lines(plan: Plan, name: str) -> Iterator[Numbered]:
    """Yield what concerns a bearing that stays: its gap or rings, its cap bolts."""
    if plan.step("free_gap", name) is not None or plan.role(name) == HELD:
        yield _seat(plan, name)
    if plan.step("cap_bolt_torque", name) is not None:
        yield from _bolts(plan, name)


def _shaft(plan: Plan, name: str) -> Numbered:
    limits, figures = plan.limits("shaft_diameter", name), plan.figures
    blanks = [figures.blank("shaft", *figures.ends(limits), label) for label in ("smallest", "largest")]
    said: Part = Label("limits: drawing", bold=True)
    if limits is not None:
        said = Value(figures.span(limits["min"], limits["max"]))
    if plan.blocks(name, 1):
        said = STOP
    return Numbered(1, None, "Shaft", (tuple(blanks),), plan.hold("shaft_diameter", name), beside=(said,))


def _initial(plan: Plan, name: str, target: Mapping[str, Any]) -> Numbered:
    """Return the initial clearance; where no blade goes in, the class that is read and the feel of the ring."""
    figures, given, measured = plan.figures, target.get("initial_clearance"), target.get("measured")
    asked = (target.get("bearing") or {}).get("clearance_class")
    ring: tuple[Part, ...] = (Blank(CELL * 2, f"mark ({asked})" if asked else "mark"),)
    hold = plan.hold("initial_clearance", name)
    if plan.step("initial_clearance", name) is None or (given is None and plan.hold("swivel", name)):
        step = next((each for each in plan.record["steps"] if each["hold"] == 3 and name in each["positions"]), None)
        said = "remember how it turns" if step is None else _brief(plan, step)
        return Numbered(2, 1, "Before mounting", ((Label(said),), ring), hold or (step or {}).get("hold"))
    between: Part = BOOK if given is None else Value(figures.span(given["min"], given["max"]))
    rows = (*ring, *_rows(plan, *figures.ends(given)))
    if measured is not None:
        rows = (Label("read, mean of the rows"), Value(figures.number(measured["value"])), *ring)
    return Numbered(2, 1, "Initial", (rows,), hold, beside=(between,))


def _rows(plan: Plan, low: str | None, high: str | None) -> tuple[Part, ...]:
    return tuple(plan.figures.blank("clearance", low, high, label) for label in TWO_ROWS)


def _clearance(plan: Plan, name: str, target: Mapping[str, Any]) -> Iterator[Numbered]:
    """Yield what is taken away, what is left, with which blade, and its witness."""
    blocked = plan.blocks(name, 4)
    yield _take(plan, target, blocked=blocked)
    yield _leave(plan, target, blocked=blocked)
    if not blocked:
        yield _blade(plan, target)
    residual, figures = target.get("residual_clearance"), plan.figures
    ends = figures.ends(residual)
    left: tuple[Part, ...] = (STOP,)
    if not blocked:
        left = (Value("inside line 3", "small"), *_rows(plan, *ends))
    yield Numbered(6, None, "Left, read after the lock", (left,), plan.hold("residual_clearance", name))
    yield _witness(plan, name, target, 7, "Witness")


def _take(plan: Plan, target: Mapping[str, Any], *, blocked: bool) -> Numbered:
    taken = target.get("reduction")
    if blocked:
        return Numbered(3, 2, "Take away", (), beside=(STOP,))
    if taken is None:
        return Numbered(3, 2, "Take away", (), beside=(BOOK, *_span_blanks(plan)))
    return Numbered(3, 2, "Take away", (), beside=(Value(plan.figures.span(taken["min"], taken["max"])),))


def _span_blanks(plan: Plan) -> tuple[Part, ...]:
    first, last = plan.figures.blank("clearance", None, None), plan.figures.blank("clearance", None, None)
    return first, Label("to"), last


def _leave(plan: Plan, target: Mapping[str, Any], *, blocked: bool) -> Numbered:
    figures = plan.figures
    residual, taken, initial = (target.get(each) for each in ("residual_clearance", "reduction", "initial_clearance"))
    floor = None if residual is None else residual.get("floor")
    beside: tuple[Part, ...] = ()
    if floor is not None:
        beside = (Label("never below"), Value(figures.number(floor), "small"))
    elif not blocked:
        beside = (Label("never below"), figures.blank("clearance", None, None))
    if blocked or no_window(target) is not None:
        instead: Part = STOP if blocked else Label("measure line 1 again: not accepted", bold=True)
        return Numbered(4, 3, "Leave", ((instead,),), beside=beside)
    if residual is not None and not residual.get("provisional"):
        by_blades = (target.get("blades") or {}).get("resolves")  # then the aim is a blade, said below: never two aims
        aim = None if by_blades else residual.get("aim")
        said: list[Part] = [Value(figures.span(residual["min"], residual["max"]), "large")]
        aims: tuple[Part, ...] = () if aim is None else (Label("aim"), Value(figures.number(aim), "small"))
        return Numbered(4, 3, "Leave", ((*said, *aims),), beside=beside)
    return Numbered(4, 3, "Leave", _sum(plan, initial, taken, residual), beside=beside)


def _sum(
    plan: Plan, initial: Mapping[str, Any] | None, taken: Mapping[str, Any] | None, residual: Mapping[str, Any] | None
) -> tuple[tuple[Part, ...], ...]:
    """Return the sum as rule C4 makes it: the larger row less the most, the smaller row less the least."""
    figures = plan.figures
    ends = figures.ends(initial)
    kept = figures.ends(residual)
    most, least = ("line 2", "line 2")
    if taken is not None:
        least, most = figures.number(taken["min"]), figures.number(taken["max"])
    return tuple(
        (
            Blank(figures.blank("clearance", *ends).pattern, f"{row} row"),
            Value(f"\u2013 {taken_away} =", "small"),
            figures.blank("clearance", *kept, bound),
        )
        for row, taken_away, bound in (("larger", most, "at least"), ("smaller", least, "at most"))
    )


def _blade(plan: Plan, target: Mapping[str, Any]) -> Numbered:
    """Return the blades of a measured bearing, else the table of every reading that the set can give."""
    figures, blades, table = plan.figures, target.get("blades"), target.get("blade_table")
    if blades is not None and blades.get("resolves"):
        goes, aim, stops = (figures.stack(blades[each]) or "" for each in ("must_pass", "target", "must_not_pass"))
        said = (Label("goes in"), Value(goes), Label("aim"), Value(aim), Label("must not go in"), Value(stops))
        return Numbered(5, None, "Blade, light drag", (said,))
    if blades is not None:
        return Numbered(5, None, "Blade", ((Label("these blades cannot show it: line 4 ends it", bold=True),),))
    if table is None or not table["rows"]:
        blanks = (figures.blank("clearance", None, None, "goes in"), figures.blank("clearance", None, None, "not in"))
        return Numbered(5, None, "Blade to try: inside line 3", (blanks,))
    return Numbered(5, None, _table_title(table, figures.units), (), table=_table(plan, table))


def _table_title(table: Mapping[str, Any], system: str) -> str:
    set_name = "inch" if system == "inch" else "mm"
    kinds = {each["must_not_pass"][0].kind for each in table["rows"] if each["must_not_pass"]}
    if kinds:
        set_name = "inch" if kinds == {"blade_in"} else "mm"
    said = "one line is yours" if table["every_pair"] else "both rows alike; else line 3"
    return f"Blade, light drag. {set_name} blades, {said}:"


def _table(plan: Plan, table: Mapping[str, Any]) -> Table:
    figures = plan.figures
    rows = []
    for each in table["rows"]:
        read = ", ".join(figures.number(row) for row in each["rows"])
        if not table["every_pair"]:
            read = figures.number(each["rows"][0])
        if each["min"] is None:
            said = "rows too far apart" if each["blocked"] == "rows_differ" else "STOP: ask"
            rows.append((read, "", said, ""))
            continue
        aim, stops = (_short_stack(plan, each[which]) for which in ("target", "must_not_pass"))
        if aim is None or stops is None:
            rows.append((read, "line 4", figures.span(each["min"], each["max"]), "line 4"))
            continue
        rows.append((read, aim, figures.span(each["min"], each["max"]), stops))
    below = []
    for side, words in (("below", "or less"), ("above", "or more")):
        found = table[side]
        if found is not None:
            again = (
                "measure again, read the ring" if found["verdict"] == "recheck" else "STOP, wrong bearing or reading"
            )
            below.append(f"a row {figures.number(found['size'])} {words}: {again}")
    return Table(("rows read", "LEAVE", "limits", "must not go in"), tuple(rows), tuple(below), loud=1)


def _short_stack(plan: Plan, blades: Sequence[Quantity] | None) -> str | None:
    """Return one or two blades by their stamps; of three their sum, which is a size that the set can show."""
    if blades is None or len(blades) <= 2:
        return plan.figures.stack(blades)
    return plan.figures.number(Quantity("clearance", sum(each.value for each in blades)))


def _witness(plan: Plan, name: str, target: Mapping[str, Any], place: int, title: str) -> Numbered:
    """Return displacement and turn of the nut: a witness only, or all there is where no blade goes in."""
    figures, facts = plan.figures, clearance_facts(target)
    limits = plan.limits("axial_displacement", name)
    moved, turned = facts.get("displacement"), facts.get("nut_turn")
    number = 4
    size: Any = "small" if place == 7 else "large"
    said: Part = BOOK if moved is None or limits is None else Value(_bare(plan, moved), size)
    travel: tuple[Part, ...] = (Label("travel"), said, figures.blank("displacement", *figures.ends(limits)))
    turn: tuple[Part, ...] = ()
    if turned is not None:
        turn = (Label("nut turns"), Value(_bare(plan, turned), size), digits(3, "", "deg"))
    if place == 7:
        return Numbered(place, number, title, (turn,) if turn else (), beside=travel)
    return Numbered(place, number, title, (travel, turn) if turn else (travel,))


def _bare(plan: Plan, text: Any) -> str:
    """Return a fact without its unit, which is said at the blank."""
    return plan.figures.line(text).removesuffix(" in").removesuffix(" mm").removesuffix(" degrees")


def _by_feel(plan: Plan, name: str, target: Mapping[str, Any]) -> Iterator[Numbered]:
    """Yield the lines of a bearing that is not judged by blades, but by displacement and feel."""
    yield _witness(plan, name, target, 3, "Travel, from firm contact")
    step = next((s for s in plan.record["steps"] if s["hold"] == 4 and name in s["positions"]), None)
    if step is not None:
        yield Numbered(6, None, "After the lock", ((Label(_brief(plan, step)), Choice(("yes", "no"))),), step["hold"])


def _heating(plan: Plan, name: str) -> Mapping[str, Any] | None:
    steps = plan.record["steps"]
    return next((each for each in steps if each["id"] == "shrink-on" and name in each["positions"]), None)


def _by_heat(plan: Plan, name: str, target: Mapping[str, Any]) -> Iterator[Numbered]:
    """Yield the lines of a bearing on a cylindrical seat: how warm, and what is left when it is cold."""
    step, figures = _heating(plan, name), plan.figures
    if step is not None:
        beside = [each["text"] for each in step["by_position"] if each["position"] == name]
        said: list[Part] = [Value(figures.line(each), "small") for each in (step["text"]["brief"], *beside)]
        rows = ((STOP,),) if plan.blocks(name, 3) else tuple((each,) for each in said)
        yield Numbered(3, 2, "Heat", rows)
    limits = plan.limits("residual_clearance", name)
    within: Part = BOOK if limits is None else Value(figures.span(limits["min"], limits["max"]))
    rows_read = _rows(plan, *figures.ends(limits))
    yield Numbered(6, None, "Left, cold", (rows_read,), plan.hold("residual_clearance", name), beside=(within,))


def _brief(plan: Plan, step: Mapping[str, Any]) -> str:
    return plan.figures.line(step["text"]["brief"])


def _seat(plan: Plan, name: str) -> Numbered:
    if plan.blocks(name, 8):
        return Numbered(8, 5, "In its seat", ((STOP,),))
    if plan.role(name) == HELD:
        return _held(plan, name)
    if plan.role(name) == FREE:
        return _free(plan, name)
    asked = (Choice(("HELD", "FREE")), Rule("named by"))
    return Numbered(8, 5, "Held or free: not known, ask; no ring before", (asked,))


def _held(plan: Plan, name: str) -> Numbered:
    support = plan.supports[name]
    rings = support.get("locating_rings") or {}
    count, width = rings.get("count"), rings.get("width")
    if not count:
        said: tuple[Part, ...] = (Label("rings: not known, ask", bold=True),)
        return Numbered(8, 5, "Held: no gap left in its seat", (said,))
    width_said = "" if width is None else f" {plan.figures.number(_gap(width))}"
    value = Value(f"{count} ring{'s' if count > 1 else ''}{width_said}", "large")
    where = "one each side; ring gaps up"
    if count == 1:
        side = plan.side((support.get("ring_sides") or [None])[0])
        where = f"{side or 'nut side'}; bearing hard on the other shoulder; ring gap up"
    return Numbered(8, 5, "Held, no gap left:", ((Label(where),),), beside=(value,))


def _gap(quantity: Any) -> Any:
    """Return a length as a depth gauge reads it."""
    return type(quantity)("gap", quantity.value)


def _free(plan: Plan, name: str) -> Numbered:
    """Return the gaps of a free bearing: before its nut is turned, where it is placed so, and after."""
    found, figures = plan.free.get(name), plan.figures
    side = "" if found is None else plan.side(found["gap_side"])
    title = f"Free, no ring. Gap, {side}" if side else "Free, no ring. Gap each side"
    rows: list[tuple[Part, ...]] = []
    before = None if found is None else found["gap_before"]
    if found is not None and before is not None and plan.step("free_gap_before", name) is not None:
        limits = found["gap_before_limits"]
        rows.append(_gap_row(plan, "nut hand-tight", before, limits, size="medium"))
    aim = None if found is None else found["gap_aim"]
    if found is None or aim is None:
        rows.append(
            (Label("in the middle; read", bold=True), *(figures.blank("gap", None, None, s) for s in TWO_SIDES))
        )
    else:
        rows.append(_gap_row(plan, "after" if rows else "", aim, found["gap_limits"], size="large"))
    return Numbered(8, 5, title, tuple(rows), plan.hold("free_gap_before", name))


TWO_SIDES: Final = ("one side", "other")


def _gap_row(plan: Plan, label: str, aim: Any, limits: Mapping[str, Any] | None, *, size: Any) -> tuple[Part, ...]:
    figures = plan.figures
    ends = figures.ends(limits)
    said: tuple[Part, ...] = (Label(label),) if label else ()
    between = () if limits is None else (Value(f"{ends[0]} to {ends[1]}", "small"),)
    return (*said, Value(figures.number(aim), size), *between, figures.blank("gap", *ends))


def _bolts(plan: Plan, name: str) -> Iterator[Numbered]:
    """Yield cap bolts and base bolts: kind, stages, and the torque that was pulled."""
    found = plan.by_position("bolting", name)
    bolt = (found or {}).get("bolt") or {}
    count = f"{bolt['count']} \u00d7 " if bolt.get("count") else ""
    title = ", ".join(
        each for each in (f"{count}{bolt['thread']}" if bolt.get("thread") else "", bolt.get("grade")) if each
    )
    unit = plan.figures.unit("torque")
    hold = plan.hold("cap_bolt_torque", name)
    stages = [plan.figures.number(each["torque"]) for each in (found or {}).get("stages") or ()]
    cells = max(3, *(len(each) for each in stages)) if stages else 3
    if plan.blocks(name, 9):
        said: tuple[Part, ...] = (STOP,)
    elif stages:
        order = ", ".join((found or {}).get("sequence") or ())
        setting = ((found or {}).get("wrench") or {}).get("setting")
        said = (Value(" \u203a ".join(stages)), *((Label(f"order {order}"),) if order else ()))
        if setting is not None and plan.figures.number(setting) != stages[-1]:
            said = (*said, Label("wrench"), Value(plan.figures.number(setting), "small"))
        said = (*said, digits(cells, "pulled", unit))
    else:
        said = (
            Label("book:", bold=True),
            digits(cells, "", unit),
            Label("half, full, full"),
            digits(cells, "pulled", unit),
        )
    yield Numbered(9, 6, f"Cap bolts {title}".strip(), (said, _base(plan, name)), hold)


def _base(plan: Plan, name: str) -> tuple[Part, ...]:
    limits, found = plan.limits("base_bolt_torque", name), plan.by_position("base_bolts", name)
    torque = limits["max"] if limits is not None else (found or {}).get("torque")
    if limits is None and torque is not None:
        torque = Quantity("torque_computed", torque.value)  # as the steps say it
    unit = plan.figures.unit("torque")
    if torque is None:
        return Label("base bolts"), BOOK, digits(3, "", unit)
    return Label("base bolts, half first"), Value(plan.figures.number(torque), "small"), digits(3, "pulled", unit)
