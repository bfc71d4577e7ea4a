"""What stands on the screens of the phone: an overview, one step at a time, the six numbers of each bearing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from markupsafe import Markup

from service.render.card.shaft_line import Shaft
from service.render.phone.figures import Blank, Figures, limits_at
from service.render.phone.pictures import picture_of
from service.render.phone.places import Place, Progress
from service.render.pictures.svg import svg
from service.units import Quantity, clearance

Plan = Mapping[str, Any]
_AIMED: Final = ("free_gap_before", "free_gap", "bearing_spacing")
"""Kinds whose aim is what is set; others are read against their limits."""
_TIGHTENING: Final = ("tighten", "tighten-free")
_RESIDUAL: Final = ("residual", "residual-free")


@dataclass(frozen=True, slots=True)
class Number:
    """The one number of a step, large, and what is said beside it."""

    value: str
    beside: str = ""


@dataclass(frozen=True, slots=True)
class StepScreen:
    """One step at one bearing.

    Parameters
    ----------
    form : Any
        The form that is open, of ``api.cards.forms``; None where nothing can be entered
    kinds : tuple of (kind, label)
        Other forms of the step
    others : tuple of Place
        The same step at each of its bearings
    table : str or None
        The foreseen verdicts as JSON
    blades, blade_unit
        The blades in use by their stamps, where they read what the form asks for
    results : tuple
        What was entered last, of ``Result``
    waits : bool
        What is left to leave is not known before the initial clearance is read, [-]
    """

    place: Place
    at: int
    count: int
    title: str
    brief: str
    texts: tuple[str, ...]
    cautions: tuple[str, ...]
    needs: tuple[tuple[str, tuple[str, ...]], ...]
    number: Number | None
    picture: Markup | None
    others: tuple[Place, ...]
    before: Place | None
    after: Place | None
    form: Any = None
    kinds: tuple[tuple[str, str], ...] = ()
    blank: Blank = field(default_factory=Blank)
    table: str | None = None
    results: tuple[Any, ...] = ()
    found_form: bool = False
    found_line: bool = False
    blades: tuple[str, ...] = ()
    blade_unit: str = ""
    waits: bool = False


def step_screen(
    plan: Plan, done: Progress, place: Place, figures: Figures, *, shaft: Shaft | None, **shown: Any
) -> StepScreen:
    """Return the screen of a step.

    Parameters
    ----------
    shaft : Shaft or None
        What stands along the shaft, for the pictures
    shown : members of StepScreen
        form, kinds, table, results
    """
    step = place.step
    at, count = done.count(place)
    before, after = done.beside(place)
    drawing = picture_of(plan, step, place.position, units=figures.units, shaft=shaft)
    form = shown.get("form")
    return StepScreen(
        place=place,
        at=at,
        count=count,
        title=step["title"],
        brief=_brief(step, place.position, figures),
        texts=(figures.line(step["text"]["standard"]), figures.line(step["text"]["full"])),
        cautions=tuple(figures.line(each) for each in step["cautions"]),
        needs=tuple(
            (name, tuple(figures.line(each) for each in step[member]))
            for name, member in (("Tools", "tools"), ("Parts", "parts"))
            if step[member]
        ),
        number=number_of(plan, step, place.position, figures, form=form),
        picture=None if drawing is None else Markup(svg(drawing, name=f"step-{place.number}")),
        others=tuple(each for each in done.places if each.number == place.number),
        before=before,
        after=after,
        blank=_blank(plan, step, place.position, figures, form),
        found_form=step["id"] == "as-found",
        found_line=step["id"] == "open-caps",
        waits=step["id"] in (*_TIGHTENING, *_RESIDUAL) and _provisional(plan, place.position),
        **shown,
    )


def _brief(step: Mapping[str, Any], position: str | None, figures: Figures) -> str:
    """Return the short text, with what is said of this bearing only."""
    own = [each["text"] for each in step["by_position"] if each["position"] == position]
    return " ".join(figures.line(each) for each in (step["text"]["brief"], *own))


def number_of(
    plan: Plan, step: Mapping[str, Any], position: str | None, figures: Figures, *, form: Any = None
) -> Number | None:
    """Return the number that a step is about; None where it has none, or another form of it is open.

    While the nut is turned that is what is left to leave: displacement and nut turn are its witnesses.
    """
    record = step["record"] or {}
    target = next((each for each in plan["targets"] if each["position"] == position), None)
    if step["id"] in _TIGHTENING and target is not None and target["residual_clearance"] is not None:
        if _provisional(plan, position):
            return Number("", "What is left to leave is known once the initial clearance is read.")
        return Number(_span(target["residual_clearance"], figures), f"to leave. {_blades(target, figures)}")
    limits = limits_at(step, position)
    if limits is None or (form is not None and form.kind != record.get("kind")):
        return None
    low, aim, high = limits["min"], limits["aim"], limits["max"]
    if record["kind"] in _AIMED and aim is not None:
        inside = f"{figures.span(low, high)} is right" if low is not None and high is not None else ""
        return Number(figures.text(aim), inside)
    if low is None or high is None:
        one = low if high is None else high
        return None if one is None else Number(f"{'at least' if high is None else 'at most'} {figures.text(one)}")
    return Number(figures.span(low, high))


def _provisional(plan: Plan, position: str | None) -> bool:
    """Return whether the window of a bearing stands without its initial clearance."""
    target = next((each for each in plan["targets"] if each["position"] == position), None)
    window = None if target is None else target["residual_clearance"]
    return window is not None and bool(window["provisional"])


def _blank(plan: Plan, step: Mapping[str, Any], position: str | None, figures: Figures, form: Any) -> Blank:
    """Return the fixed point of what is typed; a residual clearance is read below the initial one."""
    if form is None or not form.places:
        return Blank()
    limits = limits_at(step, position)
    if form.kind == "residual_clearance":
        target: Mapping[str, Any] = next((each for each in plan["targets"] if each["position"] == position), {})
        limits = target.get("initial_clearance")
        return Blank() if limits is None else figures.blank(form.kind, None, limits["max"])
    if limits is None or (step["record"] or {}).get("kind") != form.kind:
        return Blank()
    return figures.blank(form.kind, limits["min"], limits["max"])


@dataclass(frozen=True, slots=True)
class Overview:
    """Where the job stands, what blocks, what comes next."""

    machine: str
    next: Place | None
    next_title: str
    number: Number | None
    at: int
    count: int
    dots: tuple[str, ...]
    holds: tuple[tuple[str, bool, bool], ...]
    signed: int
    stops: tuple[str, ...]
    unknown: tuple[Any, ...]
    phases: tuple[tuple[str, str, bool], ...]


def overview(plan: Plan, done: Progress, figures: Figures, unknown: Sequence[Any]) -> Overview:
    """Return what stands on the overview; ``unknown`` are the open questions."""
    following = done.next
    now = None if following is None else following.number
    at, count = done.count(following) if following is not None else (len(_steps(done)), len(_steps(done)))
    return Overview(
        machine=f"{plan['asset']} {plan['asset_name'] or ''}".strip(),
        next=following,
        next_title="" if following is None else following.step["title"],
        number=None if following is None else number_of(plan, following.step, following.position, figures),
        at=at,
        count=count,
        dots=tuple(_dot(number, done, following) for number in _steps(done)),
        holds=tuple((name, closed, number == now) for number, name, closed in done.holds),
        signed=sum(closed for _, _, closed in done.holds),
        stops=tuple(figures.line(each["detail"]) for each in plan["blocked"]),
        unknown=tuple(unknown),
        phases=tuple(_phases(plan, done, following)),
    )


def _steps(done: Progress) -> list[int]:
    return list(dict.fromkeys(each.number for each in done.places))


def _dot(number: int, done: Progress, following: Place | None) -> str:
    own = [each for each in done.places if each.number == number]
    if following is not None and number == following.number:
        return "now"
    if all(each.done for each in own):
        return "done"
    return "passed" if all(each.done or each.passed for each in own) else ""


def _phases(plan: Plan, done: Progress, following: Place | None) -> list[tuple[str, str, bool]]:
    """Return each phase with how far it is, and whether the work stands in it."""
    rows = []
    for phase in plan["phases"]:
        own = [each for each in done.places if each.step["phase"] == phase["id"]]
        left = sum(not (each.done or each.passed) for each in own)
        state = "done" if not left else f"{len(own) - left} of {len(own)}"
        rows.append((phase["title"], state, following is not None and following.step["phase"] == phase["id"]))
    return rows


@dataclass(frozen=True, slots=True)
class Strip:
    """The six numbers of a bearing in the order of use; what is not known is an empty line."""

    name: str
    role: str | None
    lines: tuple[tuple[str, str, str], ...]


def strips(
    plan: Plan, done: Progress, figures: Figures, read: Mapping[str | None, tuple[float, ...]]
) -> tuple[Strip, ...]:
    """Return the six numbers of each bearing of the order.

    Parameters
    ----------
    read : mapping of position to rows
        The initial clearance as it was accepted, [nm]
    """
    roles = {each.position: each.role for each in done.places if each.position}
    return tuple(
        Strip(
            target["position"],
            roles.get(target["position"]),
            tuple(_six(plan, target, figures, read.get(target["position"], ()))),
        )
        for target in plan["targets"]
    )


def _six(
    plan: Plan, target: Mapping[str, Any], figures: Figures, read: tuple[float, ...]
) -> list[tuple[str, str, str]]:
    """Return label, number and what stands beside it."""
    name = target["position"]
    rows = " and ".join(figures.number(clearance(each)) for each in read)
    window = target["residual_clearance"]
    known = window is not None and not window["provisional"]
    turn, moved = target["nut_turn"], target["axial_displacement"]
    lines = [
        ("1 INITIAL", _span(target["initial_clearance"], figures), f"read {rows}" if rows else "not read yet"),
        ("2 TAKE AWAY", _span(target["reduction"], figures), ""),
        (
            "3 LEAVE",
            figures.span(window["min"], window["max"]) if known else "",
            _blades(target, figures) if known else "after the initial reading",
        ),
        ("never under", "" if window is None else figures.text(window["floor"]), ""),
        ("4 NUT", _about(turn, "nut_turn", figures), _witness(moved, figures)),
    ]
    return [*lines, *_gaps(plan, name, figures), _caps(plan, name, figures)]


def _blades(target: Mapping[str, Any], figures: Figures) -> str:
    """Return which blade goes in and which must not; empty where blades do not tell."""
    blades = target["blades"] or {}
    goes, stop = figures.stack(blades.get("target")), figures.stack(blades.get("must_not_pass"))
    return f"{goes} goes in, {stop} must not" if goes and stop else ""


def _about(limits: Mapping[str, Any] | None, kind: str, figures: Figures) -> str:
    """Return the middle of a witness, as the tool shows it."""
    if limits is None:
        return ""
    middle = (limits["min"].value + limits["max"].value) / 2
    return f"about {figures.text(Quantity(kind, middle / 1e6 if kind == 'travel' else middle))}"


def _witness(moved: Mapping[str, Any] | None, figures: Figures) -> str:
    said = _about(moved, "travel", figures)
    return f"from firm contact; ring moves {said}; witness only" if said else ""


def _span(limits: Mapping[str, Any] | None, figures: Figures) -> str:
    return "" if limits is None else figures.span(limits["min"], limits["max"])


def _gaps(plan: Plan, name: str, figures: Figures) -> list[tuple[str, str, str]]:
    """Return the gap of a free bearing before and after tightening."""
    free = next((each for each in (plan["placement"] or {}).get("free", ()) if each["position"] == name), None)
    if free is None:
        return []
    rows = []
    for label, aim, limits in (
        ("5 GAP before", "gap_before", "gap_before_limits"),
        ("5 GAP after", "gap_aim", "gap_limits"),
    ):
        if free[aim] is not None:
            rows.append((label, figures.text(free[aim]), _span(free[limits], figures)))
    return rows


def _caps(plan: Plan, name: str, figures: Figures) -> tuple[str, str, str]:
    each: Mapping[str, Any] = next((one for one in plan["bolting"] if one["position"] == name), {})
    stages = [] if each.get("blocked") else list(each.get("stages") or ())
    full = figures.text(stages[-1]["torque"]) if stages else ""
    first = figures.text(stages[0]["torque"]) if len(stages) > 1 else ""
    return "6 CAP BOLTS", full, f"half {first} first" if first else ""
