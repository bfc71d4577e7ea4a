"""What a plan is made for: a shaft with all its positions, as on record, and what is to be done to which."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service.arrangement.supports import Body, Drive, Support, Wheel
from service.bolting.book import ChartedTorque
from service.bolting.wrench import Wrench
from service.errors import CannotEvaluate, ServiceError
from service.instructions.plan.bolts import FittedBolts, fitted_bolts, wrench_of
from service.mounting.blades import INCH_SET, METRIC_SET, BladeSet
from service.mounting.charts import Chart
from service.mounting.clearance import Measured
from service.mounting.designation import bearing_from_designation, bearing_from_dimensions
from service.reference.bearings import Bearing
from service.reference.housings import Housing, housing_from_dimensions, housing_from_size
from service.units import Quantity

ASSEMBLY_TEMPERATURE_DEGC = 20.0
RESERVE_MM = 0.5


BASE_MOVEMENTS = ("pinned", "may_slide", "unknown")
"""Whether a free base may be moved along the shaft (readiness R10)."""
SEALINGS = ("lip", "felt", "labyrinth")


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What stands between a bearing and the shaft end it leaves by; ``keyed``: it needs a puller and time."""

    name: str
    keyed: bool = False


@dataclass(frozen=True, slots=True)
class ProcessGap:
    """A gap that the machine must keep at the held end, its name and width, [mm]; None where only the name is known."""

    name: str
    gap_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionFacts:
    """One position as it is on record; what is None is not known. ``path`` leads to it in the request.

    Parameters
    ----------
    base_movement : str or None
        One of BASE_MOVEMENTS
    base_torque_n_m : float or None
        Torque of the base bolts out of the housing maker's book, [N m]
    in_the_way : tuple of Obstacle or None
        Empty where nothing is in the way
    interference_mm : tuple of float or None
        Least and largest interference of a cylindrical bore on its shaft by both tolerances, [mm]
    seals : str or None
        One of SEALINGS
    ring_moves : str or None
        How the outer ring slid as found: "free", "stiff" or "stuck"
    seat_tight : bool or None
        Whether it still does not slide by hand after its seat was stoned
    grease : str or None
        Name of the grease on the lubrication plan
    grease_g : float or None
        First fill of the housing out of its book, [g]
    """

    name: str
    at_mm: float | None = None
    bearing: Bearing | None = None
    housing: Housing | None = None
    seat: str | None = None
    role: str | None = None
    locknut_side: str | None = None
    holds_axial_position: bool = False
    shaft_diameter_mm: float | None = None
    sleeve_thread: str | None = None
    speed_rpm: float | None = None
    radial_load_n: float | None = None
    load_direction: str | None = None
    temperature_difference_k: float | None = None
    lubrication: str | None = None
    rated_life_h: float | None = None
    duty: float | None = None
    can_move: bool | None = None
    seal_travel_mm: float | None = None
    ring_present: bool | None = None
    rings_planned: int | None = None
    cap_bolts: FittedBolts | None = None
    base_bolts: FittedBolts | None = None
    base_movement: str | None = None
    base_torque_n_m: float | None = None
    in_the_way: tuple[Obstacle, ...] | None = None
    sealed: bool | None = None
    shaft_bore_mm: float | None = None
    interference_mm: tuple[float, float] | None = None
    sleeve: str | None = None
    seals: str | None = None
    ring_moves: str | None = None
    seat_tight: bool | None = None
    grease: str | None = None
    grease_g: float | None = None
    path: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One order on one shaft. ``positions``: all of the shaft, in order; ``replaced``: those worked on.

    Parameters
    ----------
    inclination_deg : float or None
        Angle of the shaft to the horizontal, 90 for a vertical one, [deg]
    overhung, take_up, hollow : bool or None
        A wheel or pulley outside the bearings; bases on take-up screws; a hollow shaft
    stop_limit_degc : float or None
        The site's run-in stop limit for this asset, [degC]
    seats_mm : mapping of position to float
        Distance of the seat centres from the held one to this free one as read in this job, [mm]
    refitted : tuple of str
        Positions whose own bearing goes back in
    lifting_plan, tools_at_hand, parts_in_store : bool or None
        Answered by planner, tool store and storekeeper (readiness R14, R13, R17)
    """

    asset_tag: str
    asset_name: str
    shaft_name: str
    kind: str
    units: str
    blade_set: BladeSet
    positions: tuple[PositionFacts, ...]
    replaced: tuple[str, ...]
    drives: tuple[Drive, ...] = ()
    shaft: Body | None = None
    base: Body | None = None
    shaft_diameter_mm: float | None = None
    assembly_temperature_degc: float = ASSEMBLY_TEMPERATURE_DEGC
    reserve_mm: float = RESERVE_MM
    wheels: tuple[Wheel, ...] = ()
    setting_temperature_degc: float | None = None
    axial_load_n: float | None = None
    wrench: Wrench | None = None
    inclination_deg: float | None = None
    rotor_mass_kg: float | None = None
    overhung: bool | None = None
    take_up: bool | None = None
    hollow: bool | None = None
    process_gap: ProcessGap | None = None
    stop_limit_degc: float | None = None
    lifting_plan: bool | None = None
    tools_at_hand: bool | None = None
    parts_in_store: bool | None = None
    seats_mm: Mapping[str, float] = field(default_factory=dict)
    refitted: tuple[str, ...] = ()
    fitted: Mapping[str, Bearing] = field(default_factory=dict)
    measured: Mapping[str, Measured] = field(default_factory=dict)
    charts: tuple[Chart, ...] = ()
    torques: tuple[ChartedTorque, ...] = ()
    site_steps: tuple[Mapping[str, Any], ...] = ()

    def bearing_at(self, position: PositionFacts) -> Bearing | None:
        """Return the bearing to be fitted, else the one on record."""
        return self.fitted.get(position.name, position.bearing)


def job_from_record(
    asset: Mapping[str, Any],
    *,
    replaced: Sequence[tuple[str, Mapping[str, Any] | None]],
    kind: str = "replacement",
    units: str,
    blade_set: BladeSet | None = None,
    housings: Mapping[str, Housing] | None = None,
    measured: Mapping[str, Measured] | None = None,
    wrench: Mapping[str, Any] | None = None,
    charts: tuple[Chart, ...] = (),
    torques: tuple[ChartedTorque, ...] = (),
    site_steps: tuple[Mapping[str, Any], ...] = (),
    seats_mm: Mapping[str, float] | None = None,
    refitted: Sequence[str] = (),
    answers: Mapping[str, Any] | None = None,
) -> Job:
    """Return the job that an asset on record and an order make.

    Parameters
    ----------
    asset : dict
        The document {tag, name, shafts: [{name, drives, shaft, base, ..., positions}]} with quantities as leaves.
    replaced : sequence of (name, bearing)
        The positions of the order, with the bearing to be fitted where the order names one.
    housings : dict
        The site's own housings by name.
    charts, torques : tuple
        The site's own charts for bearings, and its cap torques, in order of precedence.
    wrench : dict
        The torque wrench at hand, {min, max, length?, adapter_length?, adapter_angle?}.
    seats_mm : dict
        Distances of seat centres as read in this job, by free position, [mm].
    refitted : sequence of str
        Positions whose own bearing goes back in.
    answers : dict
        What the office answered for this order: {lifting_plan?, tools_at_hand?, parts_in_store?}.

    Raises
    ------
    CannotEvaluate
        A position is unknown, named twice or on another shaft than the first (field ``positions/N``); a designation
        or housing is unknown (field below ``shafts/N/positions/M``).
    """
    index, shaft = _shaft_of(asset, [name for name, _ in replaced])
    named = housings or {}
    positions = [
        _position(facts, f"shafts/{index}/positions/{number}", named)
        for number, facts in enumerate(shaft.get("positions") or ())
    ]
    fitted = {
        name: bearing
        for number, (name, given) in enumerate(replaced)
        if (bearing := bearing_of(given, f"positions/{number}/bearing")) is not None
    }
    return Job(
        asset_tag=asset["tag"],
        asset_name=asset.get("name") or asset["tag"],
        shaft_name=shaft.get("name") or "",
        kind=kind,
        units=units,
        blade_set=blade_set or (INCH_SET if units == "inch" else METRIC_SET),
        positions=_in_order(positions),
        replaced=tuple(name for name, _ in replaced),
        drives=drives_of(shaft.get("drives")),
        shaft=body_of(shaft.get("shaft")),
        base=body_of(shaft.get("base")),
        shaft_diameter_mm=_number((shaft.get("shaft") or {}).get("diameter")),
        assembly_temperature_degc=_or(shaft.get("assembly_temperature"), ASSEMBLY_TEMPERATURE_DEGC),
        reserve_mm=_or(shaft.get("reserve"), RESERVE_MM),
        wheels=wheels_of(shaft.get("wheels")),
        setting_temperature_degc=_number(shaft.get("setting_temperature")),
        axial_load_n=_number(shaft.get("axial_load")),
        wrench=wrench_of(wrench),
        **_line_facts(shaft),
        **{name: (answers or {}).get(name) for name in ("lifting_plan", "tools_at_hand", "parts_in_store")},
        seats_mm=seats_mm or {},
        refitted=tuple(refitted),
        fitted=fitted,
        measured=measured or {},
        charts=charts,
        torques=torques,
        site_steps=site_steps,
    )


def _line_facts(shaft: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is on record of a shaft beyond its supports: how it lies, what hangs on it, what it must keep."""
    gap = shaft.get("process_gap")
    return {
        "inclination_deg": _number(shaft.get("inclination")),
        "rotor_mass_kg": _number(shaft.get("rotor_mass")),
        "overhung": shaft.get("overhung"),
        "take_up": shaft.get("take_up"),
        "hollow": shaft.get("hollow"),
        "process_gap": None if gap is None else ProcessGap(gap["name"], _number(gap.get("gap"))),
        "stop_limit_degc": _number(shaft.get("stop_limit")),
    }


def required_bearing(facts: Mapping[str, Any], path: str) -> Bearing:
    """Return the bearing that a document names; see ``bearing_of``."""
    bearing: Bearing = _at(path, "bearing", _bearing, facts)
    return bearing


def bearing_of(facts: Mapping[str, Any] | None, path: str) -> Bearing | None:
    """Return the bearing that {designation} or {type, bore, ..., taper, clearance_class} names; None for None.

    Raises
    ------
    CannotEvaluate
        The designation is unknown; the field lies below ``path``.
    """
    return None if facts is None else required_bearing(facts, path)


def housing_of(
    facts: Mapping[str, Any] | None,
    path: str,
    *,
    bearing: Bearing | None = None,
    housings: Mapping[str, Housing] | None = None,
) -> Housing | None:
    """Return the housing that {size, dimensions, seat_design?}, {name} or {seat_width, ...} names; None for None.

    Raises
    ------
    CannotEvaluate
        The size or name is unknown (code ``unknown_housing``); the field lies below ``path``.
    """
    return None if facts is None else _at(path, "housing", lambda each: _housing(each, bearing, housings or {}), facts)


def drives_of(facts: Iterable[Mapping[str, Any]] | None) -> tuple[Drive, ...]:
    """Return the drives of a shaft."""
    return tuple(Drive(at_mm=each["at"].value, kind=each["kind"]) for each in facts or ())


def wheels_of(facts: Iterable[Mapping[str, Any]] | None) -> tuple[Wheel, ...]:
    """Return the wheels of a shaft."""
    return tuple(
        Wheel(each["at"].value, each.get("name", "wheel"), each.get("holds_axial_position")) for each in facts or ()
    )


def body_of(facts: Mapping[str, Any] | None) -> Body | None:
    """Return the shaft or the base; None when nothing is known of it."""
    if not facts:
        return None
    return Body(material=facts["material"], temperature_degc=_number(facts.get("temperature")))


def support_of(facts: Mapping[str, Any], path: str, *, housings: Mapping[str, Housing] | None = None) -> Support:
    """Return the support that a document {name, at, bearing, housing, ...} describes.

    Raises
    ------
    CannotEvaluate
        Bearing or housing is unknown; the field lies below ``path``.
    """
    return support(_position(facts, path, housings or {}), replaced=bool(facts.get("replaced")))


def support(position: PositionFacts, bearing: Bearing | None = None, *, replaced: bool = False) -> Support:
    """Return what the arrangement needs to know of a position, with the bearing to be fitted if it is another."""
    return Support(
        name=position.name,
        at_mm=position.at_mm,
        bearing=bearing or position.bearing,
        housing=position.housing,
        radial_load_n=position.radial_load_n,
        holds_axial_position=position.holds_axial_position,
        role=position.role,
        locknut_side=position.locknut_side,
        replaced=replaced,
        load_direction=None if position.load_direction == "unknown" else position.load_direction,
        shaft_diameter_mm=position.shaft_diameter_mm,
        seat=position.seat,
        can_move=position.can_move,
        ring_present=position.ring_present,
        rings_planned=position.rings_planned,
        seal_travel_mm=position.seal_travel_mm,
    )


def _shaft_of(asset: Mapping[str, Any], names: Sequence[str]) -> tuple[int, Mapping[str, Any]]:
    home = {
        position["name"]: index
        for index, shaft in enumerate(asset["shafts"])
        for position in shaft.get("positions") or ()
    }
    for number, name in enumerate(names):
        if name not in home:
            known = ", ".join(sorted(home)) or "none"
            raise CannotEvaluate(
                f"{asset['tag']} has no position {name!r}; it has: {known}",
                code="unknown_position",
                field=f"positions/{number}",
            )
        if name in names[:number]:
            raise CannotEvaluate(
                f"position {name!r} is named twice", code="position_named_twice", field=f"positions/{number}"
            )
        if home[name] != home[names[0]]:
            raise CannotEvaluate(
                f"position {name!r} is on another shaft than {names[0]!r}: one order a shaft",
                code="positions_on_two_shafts",
                field=f"positions/{number}",
            )
    if not names:
        raise CannotEvaluate("name the positions to work on", code="no_positions", field="positions")
    return home[names[0]], asset["shafts"][home[names[0]]]


def _position(facts: Mapping[str, Any], path: str, housings: Mapping[str, Housing]) -> PositionFacts:
    bearing = bearing_of(facts.get("bearing"), f"{path}/bearing")
    return PositionFacts(
        name=facts["name"],
        at_mm=_number(facts.get("at")),
        bearing=bearing,
        housing=housing_of(facts.get("housing"), f"{path}/housing", bearing=bearing, housings=housings),
        seat=facts.get("seat"),
        role=facts.get("role"),
        locknut_side=facts.get("locknut_side"),
        holds_axial_position=bool(facts.get("holds_axial_position")),
        shaft_diameter_mm=_number(facts.get("shaft_diameter")),
        sleeve_thread=facts.get("sleeve_thread"),
        speed_rpm=_number(facts.get("speed")),
        radial_load_n=_number(facts.get("radial_load")),
        load_direction=facts.get("load_direction"),
        temperature_difference_k=_number(facts.get("temperature_difference")),
        lubrication=facts.get("lubrication"),
        rated_life_h=_number(facts.get("rated_life")),
        duty=facts.get("duty"),
        can_move=facts.get("can_move"),
        seal_travel_mm=_number(facts.get("seal_travel")),
        ring_present=facts.get("ring_present"),
        rings_planned=facts.get("rings_planned"),
        cap_bolts=fitted_bolts(facts.get("cap_bolts"), f"{path}/cap_bolts"),
        base_bolts=fitted_bolts(facts.get("base_bolts"), f"{path}/base_bolts"),
        base_movement=facts.get("base_movement"),
        base_torque_n_m=_number(facts.get("base_torque")),
        in_the_way=_obstacles(facts.get("in_the_way")),
        sealed=facts.get("sealed"),
        shaft_bore_mm=_number(facts.get("shaft_bore")),
        interference_mm=_interference(facts.get("interference")),
        sleeve=facts.get("sleeve"),
        seals=facts.get("seals"),
        ring_moves=facts.get("ring_moves"),
        seat_tight=facts.get("seat_tight"),
        grease=facts.get("grease"),
        grease_g=None if facts.get("grease_fill") is None else facts["grease_fill"].value * 1000,
        path=path,
    )


def _interference(facts: Mapping[str, Any] | None) -> tuple[float, float] | None:
    return None if facts is None else (facts["min"].value, facts["max"].value)


def _obstacles(facts: Iterable[Mapping[str, Any]] | None) -> tuple[Obstacle, ...] | None:
    return None if facts is None else tuple(Obstacle(each["name"], bool(each.get("keyed"))) for each in facts)


def _bearing(facts: Mapping[str, Any]) -> Bearing:
    if facts.get("designation") is not None:
        return bearing_from_designation(facts["designation"])
    return bearing_from_dimensions(
        type=facts["type"],
        bore_mm=facts["bore"].value,
        outside_diameter_mm=_number(facts.get("outside_diameter")),
        width_mm=_number(facts.get("width")),
        taper=facts["taper"],
        clearance_class=facts["clearance_class"],
    )


def _housing(facts: Mapping[str, Any], bearing: Bearing | None, housings: Mapping[str, Housing]) -> Housing:
    if facts.get("size") is not None:
        design = facts.get("seat_design")
        return housing_from_size(
            size=facts["size"], dimensions=facts["dimensions"], seat_design=design, bearing=bearing
        )
    if facts.get("name") is not None:
        known = housings.get(facts["name"])
        if known is None:
            detail = f"no housing of this site is named {facts['name']!r}"
            raise CannotEvaluate(detail, code="unknown_housing", field="name")
        return known
    rings = facts.get("locating_rings")
    return housing_from_dimensions(
        seat_width_mm=facts["seat_width"].value,
        seat_bore_mm=facts["seat_bore"].value,
        locating_rings=None if rings is None else (rings["count"], rings["width"].value),
    )


def _at(path: str, member: str, read: Callable[[Mapping[str, Any]], Any], facts: Mapping[str, Any]) -> Any:
    """Read an object of a document; an error's field is moved below the path at which the object stands."""
    try:
        return read(facts)
    except ServiceError as error:
        error.field = error.field.removeprefix(member).removeprefix("/")
        raise error.below(path) from None


def _in_order(positions: Iterable[PositionFacts]) -> tuple[PositionFacts, ...]:
    """Return the positions along the shaft; those whose place is not known stand last, as given."""
    return tuple(sorted(positions, key=lambda each: (each.at_mm is None, each.at_mm or 0.0)))


def _number(quantity: Quantity | None) -> float | None:
    return None if quantity is None else quantity.value


def _or(quantity: Quantity | None, otherwise: float) -> float:
    return otherwise if quantity is None else quantity.value
