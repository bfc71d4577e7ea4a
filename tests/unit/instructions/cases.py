"""Invented machines, one for each case of the trade: what is done, to which ends, on what kind of machine."""

from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any, Final

from service import units
from service.mounting.clearance import Measured
from tests.unit.instructions.machines import asset, plan_of, position

FITTED: Final = {"thread": "5/8-11 UNC", "grade": "SAE J429 5", "count": 2, "lubrication": "oiled"}
WRENCH: Final = {"min": units.torque(30.0), "max": units.torque(340.0)}
NARROW_516: Final = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}


def fan(**facts: Any) -> dict[str, Any]:
    """Return a hot exhaust fan on two inch blocks, coupling beyond the drive end, everything known."""
    known: dict[str, Any] = {
        "bearing": {"designation": "22216 K/C3"},
        "housing": {"size": "516", "dimensions": "inch"},
        "seat": "adapter_sleeve",
        "sleeve_thread": "inch",
        "shaft_diameter": units.dimension(68.2625),
        "temperature_difference": units.temperature_difference(10.0),
        "radial_load": units.force(7000.0),
        "load_direction": "down",
        "lubrication": "grease",
        "grease": "lithium complex NLGI 2",
        "cap_bolts": FITTED,
        "base_torque": units.torque(150.0),
        "base_movement": "pinned",
        "in_the_way": [],
        **facts,
    }
    document = asset(
        position("tail", 0.0, locknut_side="minus", **known),
        position("drive", 2.98704, locknut_side="plus", **known),
        drives=[{"at": units.distance(3414.0), "kind": "coupling"}],
        shaft={"material": "carbon_steel", "temperature": units.temperature(80.0)},
        base={"material": "carbon_steel", "temperature": units.temperature(30.0)},
        inclination=units.angle(0.0),
        rotor_mass=units.mass(540.0),
        stop_limit=units.temperature(95.0),
    )
    document["shafts"][0]["positions"][1]["in_the_way"] = [{"name": "coupling half", "keyed": True}]
    return document


def changed(document: Mapping[str, Any], where: Mapping[str, Mapping[str, Any]], **shaft: Any) -> dict[str, Any]:
    """Return the machine with other facts of its positions and of its shaft."""
    copy = deepcopy(dict(document))
    for each in copy["shafts"][0]["positions"]:
        each |= where.get(each["name"], {})
    copy["shafts"][0] |= shaft
    return copy


def line(count: int, *, drive_at_m: float, span_m: float = 2.0, **facts: Any) -> dict[str, Any]:
    """Return a shaft on several metric blocks A, B, C ..., driven at one place."""
    known: dict[str, Any] = {
        "bearing": {"designation": "22216 K/C3"},
        "housing": NARROW_516,
        "seat": "adapter_sleeve",
        "sleeve_thread": "metric",
        "shaft_diameter": units.dimension(70.0),
        "lubrication": "grease",
        "load_direction": "down",
        "locknut_side": "plus",
        "base_movement": "pinned",
        **facts,
    }
    return asset(
        *(position("ABCDEF"[n], n * span_m, **known) for n in range(count)),
        drives=[{"at": units.distance(drive_at_m * 1000), "kind": "coupling"}],
        shaft={"material": "carbon_steel", "temperature": units.temperature(40.0)},
        base={"material": "carbon_steel", "temperature": units.temperature(25.0)},
        inclination=units.angle(0.0),
    )


def measured(*names: str, rows_nm: tuple[int, ...] = (101_600, 101_600)) -> dict[str, Measured]:
    """Return initial clearances as measured, two rows alike."""
    return {name: Measured(tuple((nm,) for nm in rows_nm)) for name in names}


BALL = {"designation": "2212 K/C3"}
BOX_512 = {"size": "512", "dimensions": "metric", "seat_design": "narrow_seat"}
BIG = {"designation": "23136 K/C3"}
BIG_HOUSING = {
    "seat_width": units.dimension(116.0),
    "seat_bore": units.dimension(300.0),
    "locating_rings": {"count": 2, "width": units.dimension(10.0)},
}
SEALED = {"designation": "22216-2CS K/C3"}
PULLEY = {"take_up": True, "drives": [], "wheels": [{"at": units.distance(1493.0), "name": "tail pulley"}]}


def _of(document: dict[str, Any], *names: str, **more: Any) -> Callable[[], dict[str, Any]]:
    return lambda: plan_of(document, *names, **more)


BOTH = ("tail", "drive")
CASES: Final[Mapping[str, Callable[[], dict[str, Any]]]] = {
    "both, nothing measured": _of(fan(), *BOTH, wrench=WRENCH),
    "both, measured": _of(fan(), *BOTH, wrench=WRENCH, measured=measured(*BOTH), seats_mm={"tail": 2987.04}),
    "both, rows differ between ends": _of(
        fan(), *BOTH, measured=measured("tail") | measured("drive", rows_nm=(114_300, 114_300))
    ),
    "both, free base slides": _of(fan(base_movement="may_slide"), *BOTH, wrench=WRENCH),
    "both, nuts inward": _of(
        changed(fan(), {"tail": {"locknut_side": "plus"}, "drive": {"locknut_side": "minus"}}),
        *BOTH,
        seats_mm={"tail": 2987.04},
    ),
    "held only": _of(fan(), "drive"),
    "held only, nut inward": _of(changed(fan(), {"drive": {"locknut_side": "minus"}}), "drive"),
    "held only, base slides": _of(fan(base_movement="may_slide"), "drive"),
    "free only": _of(fan(), "tail"),
    "free only, base slides": _of(fan(base_movement="may_slide"), "tail"),
    "inspection": _of(fan(), *BOTH, kind="inspection"),
    "inspection of one": _of(fan(), "tail", kind="inspection"),
    "refit": _of(fan(), *BOTH, refitted=BOTH),
    "withdrawal sleeve": _of(fan(seat="withdrawal_sleeve", shaft_diameter=units.dimension(75.0)), *BOTH),
    "tapered journal, pinned": _of(fan(seat="tapered_journal", shaft_diameter=units.dimension(80.0)), *BOTH),
    "tapered journal, slides": _of(
        fan(seat="tapered_journal", shaft_diameter=units.dimension(80.0), base_movement="may_slide"), *BOTH
    ),
    "cylindrical": _of(
        fan(
            seat="cylindrical",
            bearing={"designation": "22216/C3"},
            shaft_diameter=units.dimension(80.0),
            interference={"min": units.dimension(0.011), "max": units.dimension(0.039)},
        ),
        *BOTH,
    ),
    "held cylindrical, free on sleeve": _of(
        changed(
            fan(),
            {
                "drive": {
                    "seat": "cylindrical",
                    "bearing": {"designation": "22216/C3"},
                    "shaft_diameter": units.dimension(80.0),
                }
            },
        ),
        *BOTH,
    ),
    "ball": _of(
        fan(bearing=BALL, housing=BOX_512, sleeve_thread="metric", shaft_diameter=units.dimension(55.0)),
        *BOTH,
        system="metric",
    ),
    "ball free, roller held": _of(
        changed(
            fan(),
            {
                "tail": {
                    "bearing": BALL,
                    "housing": BOX_512,
                    "sleeve_thread": "metric",
                    "shaft_diameter": units.dimension(55.0),
                }
            },
        ),
        *BOTH,
    ),
    "sealed": _of(fan(bearing=SEALED), *BOTH),
    "three, held at the end": _of(line(3, drive_at_m=-0.4), "A", "B", "C", system="metric"),
    "three, held in the middle": _of(
        changed(line(3, drive_at_m=-0.4), {"B": {"holds_axial_position": True}}), "A", "B", "C", system="metric"
    ),
    "three, the middle one only": _of(
        changed(line(3, drive_at_m=-0.4), {"A": {"role": "locating"}}), "B", system="metric"
    ),
    "four": _of(line(4, drive_at_m=-0.4), *"ABCD", system="metric"),
    "overhung wheel": _of(
        changed(
            fan(load_direction="up"),
            {"drive": {"role": "locating"}, "tail": {"role": "free"}},
            wheels=[{"at": units.distance(-500.0), "name": "fan wheel"}],
            overhung=True,
        ),
        "tail",
    ),
    "fan with inlet gap": _of(
        changed(
            fan(),
            {"tail": {"holds_axial_position": True}},
            wheels=[{"at": units.distance(700.0), "name": "fan wheel"}],
            process_gap={"name": "inlet cone", "gap": units.dimension(8.0)},
        ),
        *BOTH,
    ),
    "tail pulley on take-up": _of(
        changed(fan(base_movement="may_slide"), {"drive": {"role": "locating"}, "tail": {"role": "free"}}, **PULLEY),
        "tail",
    ),
    "tail pulley, roles open": _of(changed(fan(), {}, **PULLEY), *BOTH),
    "vertical": _of(changed(fan(), {}, inclination=units.angle(90.0)), *BOTH),
    "inclined": _of(changed(fan(), {}, inclination=units.angle(10.0), axial_load=units.force(500.0)), *BOTH),
    "inclined, sleeve would slide": _of(
        changed(fan(), {}, inclination=units.angle(30.0), rotor_mass=units.mass(2000.0)), *BOTH
    ),
    "big": _of(
        fan(bearing=BIG, housing=BIG_HOUSING, sleeve_thread="metric", shaft_diameter=units.dimension(160.0)),
        *BOTH,
        system="metric",
    ),
    "big bore, clip": _of(
        fan(
            bearing={"designation": "23248 K/C3"},
            housing={**BIG_HOUSING, "seat_bore": units.dimension(440.0), "seat_width": units.dimension(180.0)},
            sleeve_thread="metric",
            shaft_diameter=units.dimension(220.0),
        ),
        *BOTH,
        system="metric",
    ),
    "very hot": _of(
        changed(fan(), {}, shaft={"material": "carbon_steel", "temperature": units.temperature(130.0)}), *BOTH
    ),
    "long and hot, tape cannot decide": _of(
        changed(
            line(2, drive_at_m=-0.4, span_m=6.0),
            {},
            shaft={"material": "carbon_steel", "temperature": units.temperature(80.0)},
        ),
        "A",
        "B",
        system="metric",
        seats_mm={"B": 6000.0},
    ),
    "in oil": _of(fan(lubrication="oil"), *BOTH),
    "jammed as found": _of(changed(fan(), {"tail": {"ring_moves": "stuck"}}), *BOTH),
    "two held": _of(fan(role="locating"), *BOTH),
    "class too tight": _of(
        fan(temperature_difference=units.temperature_difference(60.0)), *BOTH, measured=measured(*BOTH)
    ),
    "sleeve does not fit": _of(fan(shaft_diameter=units.dimension(72.0)), *BOTH),
    "overloaded bolts": _of(fan(cap_bolts={**FITTED, "thread": "1/2-13 UNC", "lubrication": "dry"}), *BOTH),
    "nothing known": _of(asset(position("north"), position("south")), "north", "south"),
    "one support": _of(asset(position("only", 0.0, bearing={"designation": "22216 K/C3"}, role="locating")), "only"),
}
