"""How far a free support moves as shaft and base change temperature, and how it is set for that (rule A6)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.arrangement.supports import MINUS, NO_DIRECTION, OPPOSITE, PLUS
from service.reference.materials import Material

DIGITS: Final = 6
"""Lengths computed here are kept to a nanometre, so that exact limits compare exactly, decimals of [mm]."""


@dataclass(frozen=True, slots=True)
class Strains:
    """Growth of the shaft over the base per length, [-]: in service, heating up (base cold), cooling down (shaft
    cold, base still hot); ``highest`` is the service value at the edges of the bands of both expansions."""

    service: float
    heat_up: float
    cool_down: float
    highest: float
    shaft_per_k: float


def strains(*, shaft: Material, shaft_rise_k: float, base: Material, base_rise_k: float) -> Strains:
    """Return the growth of a shaft over its base per length, [-].

    Parameters
    ----------
    shaft, base : Material
        What they are made of.
    shaft_rise_k, base_rise_k : float
        Service temperature minus assembly temperature, [K]

    Source
    ------
    Linear thermal expansion, dL = alpha L dT (PYTEL & KIUSALAAS, Mechanics of Materials, ch. 2).
    """
    of_shaft = shaft.expansion_per_k * shaft_rise_k
    of_base = base.expansion_per_k * base_rise_k
    shaft_edges = (shaft.expansion_low_per_k * shaft_rise_k, shaft.expansion_high_per_k * shaft_rise_k)
    base_edges = (base.expansion_low_per_k * base_rise_k, base.expansion_high_per_k * base_rise_k)
    extremes = (max(shaft_edges) - min(base_edges), min(shaft_edges) - max(base_edges))
    return Strains(
        service=of_shaft - of_base,
        heat_up=of_shaft,
        cool_down=-of_base,
        highest=max(extremes, key=abs),
        shaft_per_k=shaft.expansion_per_k,
    )


def upper_bound_force(*, strain: float, youngs_modulus_mpa: float, diameter_mm: float) -> float:
    """Return the axial force in a solid shaft held at both ends, [N].

    Parameters
    ----------
    strain : float
        Prevented growth per length, [-]
    youngs_modulus_mpa : float
        Young's modulus of the shaft, [MPa]
    diameter_mm : float
        Diameter of the shaft, [mm]

    Source
    ------
    Fully restrained bar, F = E A alpha dT (PYTEL & KIUSALAAS, Mechanics of Materials, ex. 2.10): an upper bound,
    because housings and base give.
    """
    area_mm2 = 0.7853981633974483 * diameter_mm**2
    return youngs_modulus_mpa * area_mm2 * abs(strain)


SLEEVE_GRIP_N_PER_MM2: Final = 3.0
"""Axial force that slides an adapter sleeve on a plain shaft, over width times bore: common practice, no source."""


def sleeve_slip_force(*, width_mm: float, bore_mm: float) -> float:
    """Return the axial force at which a sleeve slips on a plain shaft, about 3 B d, [N].

    Parameters
    ----------
    width_mm, bore_mm : float
        Width B and bore d of the bearing, [mm]

    Source
    ------
    Common practice, no source: plain shaft, correctly mounted, no abutment.
    """
    return SLEEVE_GRIP_N_PER_MM2 * width_mm * bore_mm


@dataclass(frozen=True, slots=True)
class Growth:
    """Movement of one free support, [mm]: positive away from the locating support, which lies opposite ``outward``."""

    outward: str
    service_mm: float
    heat_up_mm: float
    cool_down_mm: float
    highest_mm: float
    per_k_mm: float

    @property
    def magnitude_mm(self) -> float:
        """Return how far the support moves in service, [mm]."""
        return abs(self.service_mm)

    @property
    def direction(self) -> str:
        """Return the direction of that movement, "plus", "minus" or "none"."""
        return _toward(self.outward, self.service_mm)


def _toward(outward: str, away_mm: float) -> str:
    if away_mm == 0:
        return NO_DIRECTION
    return outward if away_mm > 0 else OPPOSITE[outward]


def growth(*, at_mm: float, locating_at_mm: float, of: Strains) -> Growth:
    """Return the movement of a support at ``at_mm``, [mm]."""
    length_mm = abs(at_mm - locating_at_mm)
    return Growth(
        outward=PLUS if at_mm > locating_at_mm else MINUS,
        service_mm=round(length_mm * of.service, DIGITS),
        heat_up_mm=round(length_mm * of.heat_up, DIGITS),
        cool_down_mm=round(length_mm * of.cool_down, DIGITS),
        highest_mm=round(length_mm * of.highest, DIGITS),
        per_k_mm=length_mm * of.shaft_per_k,
    )


@dataclass(frozen=True, slots=True)
class Offset:
    """Window for setting a free bearing off the centre of its seat, [mm], and the direction of the offset."""

    min_mm: float
    max_mm: float
    direction: str

    @property
    def aim_mm(self) -> float:
        """Return the middle of the window, which leaves equal reserve at both ends, [mm]."""
        return round((self.min_mm + self.max_mm) / 2, DIGITS)

    def record(self) -> dict[str, Any]:
        """Return the wire member ``offset``."""
        return {
            "min": units.dimension(self.min_mm),
            "max": units.dimension(self.max_mm),
            "aim": units.dimension(self.aim_mm),
            "direction": self.direction,
        }


@dataclass(frozen=True, slots=True)
class SettingGap:
    """Gap to leave between outer ring and shoulder on one side of a free bearing, [mm]; limits are inclusive."""

    side: str
    min_mm: float
    aim_mm: float
    max_mm: float
    total_mm: float

    def corrected(self, outward: str, correction_mm: float) -> "SettingGap":
        """Return the gap on a shaft that has already grown outward by ``correction_mm``, [mm]."""
        change_mm = -correction_mm if self.side == outward else correction_mm
        low, aim, high = (round(gap + change_mm, DIGITS) for gap in (self.min_mm, self.aim_mm, self.max_mm))
        return SettingGap(self.side, max(0.0, low), aim, min(self.total_mm, high), self.total_mm)

    @property
    def can_be_set(self) -> bool:
        """Tell whether the aim lies inside the seat."""
        return 0 <= self.aim_mm <= self.total_mm

    def record(self) -> dict[str, Any]:
        """Return the wire member ``expansion.setting_gap``."""
        gaps = {"min": self.min_mm, "aim": self.aim_mm, "max": self.max_mm}
        return {"side": self.side, **{name: units.dimension(gap) for name, gap in gaps.items()}}


@dataclass(frozen=True, slots=True)
class FreeSetting:
    """How a free bearing is set in its seat, [mm]; ``setting`` is None when the travel is too small."""

    setting: str | None
    total_mm: float
    needed_mm: float
    available_mm: float
    offset: Offset | None
    governed_by: str
    gaps_mm: Mapping[str, Mapping[str, float]]
    gap: SettingGap | None


def free_setting(*, moves: Growth, total_mm: float, reserve_mm: float) -> FreeSetting:
    """Return the setting of a free bearing: centred, offset, or None when neither leaves the reserve (A6).

    Parameters
    ----------
    moves : Growth
        Movement in service, heating up and cooling down, [mm]
    total_mm : float
        Travel in all: seat width minus bearing width, or the seals' if smaller, [mm]
    reserve_mm : float
        Distance that must be left at each end, [mm]

    Source
    ------
    Own calculation. With offset o against the growth, the bearing has t/2 + o in the direction of growth and
    t/2 - o in the other; each must hold its largest movement and the reserve.
    """
    forward = moves.direction if moves.direction != NO_DIRECTION else moves.outward
    sign = 1.0 if forward == moves.outward else -1.0
    states = {name: sign * one for name, one in _states(moves).items()}
    ahead, behind = max(0.0, *states.values()), -min(0.0, *states.values())
    least = round(ahead + reserve_mm - total_mm / 2, DIGITS)
    most = round(total_mm / 2 - reserve_mm - behind, DIGITS)
    offset, setting = None, None
    if least <= 0 <= most:
        setting = "centred"
    elif least <= most and most > 0:
        setting, offset = "offset", Offset(least, most, OPPOSITE[forward])
    elif least <= most:
        setting, offset = "offset", Offset(-most, -least, forward)
    shift_mm = 0.0
    if offset is not None:
        shift_mm = offset.aim_mm if offset.direction == OPPOSITE[forward] else -offset.aim_mm
    available_mm = total_mm / 2 + shift_mm if setting is not None else total_mm - reserve_mm
    gap = None
    if setting is not None:
        gap = SettingGap(
            side=forward,
            min_mm=round(ahead + reserve_mm, DIGITS),
            aim_mm=round(total_mm / 2 + shift_mm, DIGITS),
            max_mm=round(total_mm - behind - reserve_mm, DIGITS),
            total_mm=total_mm,
        )
    return FreeSetting(
        setting=setting,
        total_mm=total_mm,
        needed_mm=round(moves.magnitude_mm + reserve_mm, DIGITS),
        available_mm=round(available_mm, DIGITS),
        offset=offset,
        governed_by=_governing(states),
        gaps_mm=_gaps(forward, states, total_mm, shift_mm) if setting is not None else {},
        gap=gap,
    )


def _states(moves: Growth) -> dict[str, float]:
    return {"service": moves.service_mm, "heat_up": moves.heat_up_mm, "cool_down": moves.cool_down_mm}


def _governing(states: Mapping[str, float]) -> str:
    """Return the state that moves furthest; service, which stands first, when it is as far as any."""
    return max(states, key=lambda name: abs(states[name]))


def _gaps(forward: str, states: Mapping[str, float], total_mm: float, shift_mm: float) -> dict[str, dict[str, float]]:
    """Return the distance from bearing to shoulder on both sides, cold and in each state, [mm]."""
    return {
        name: {
            forward: round(total_mm / 2 + shift_mm - moved, DIGITS),
            OPPOSITE[forward]: round(total_mm / 2 - shift_mm + moved, DIGITS),
        }
        for name, moved in {"cold": 0.0, **states}.items()
    }


def setting_correction_mm(moves: Growth, *, setting_temperature_degc: float, assembly_temperature_degc: float) -> float:
    """Return how much further away from the locating support to set the bearing on a warmer shaft, [mm].

    The shaft has already grown by this much when it is set at ``setting_temperature_degc``, the base having the
    assembly temperature; negative when colder.
    """
    return round(moves.per_k_mm * (setting_temperature_degc - assembly_temperature_degc), DIGITS)
