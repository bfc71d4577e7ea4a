"""What to set a torque wrench to, with and without an adapter, and whether it suits the torque (rule B4)."""

from dataclasses import dataclass
from math import cos, radians
from typing import Any, Final

from service import units
from service.bolting.messages import SAYS
from service.errors import CannotEvaluate
from service.findings import Missing, Warned

USABLE_SHARE: Final = 0.2
"""A torque wrench is used from this share of its scale upward: common practice, no source, [-]."""


@dataclass(frozen=True, slots=True)
class Wrench:
    """A torque wrench: lowest mark and end of scale [N m], length from grip to square [mm], adapter [mm, deg]."""

    min_n_m: float
    max_n_m: float
    length_mm: float | None = None
    adapter_length_mm: float | None = None
    adapter_angle_deg: float | None = None

    @property
    def lowest_usable_n_m(self) -> float:
        """Return the higher of the lowest mark and 20 % of the scale, [N m]."""
        return max(self.min_n_m, USABLE_SHARE * self.max_n_m)


def wrench_setting(
    *, torque_n_m: float, length_mm: float, adapter_length_mm: float, adapter_angle_deg: float = 0.0
) -> float:
    """Return what the wrench must show for a torque at the bolt, [N m].

    Parameters
    ----------
    torque_n_m : float
        Torque at the bolt T, [N m]
    length_mm, adapter_length_mm : float
        Length of the wrench L from grip to square and of the adapter E from square to bolt, [mm]
    adapter_angle_deg : float
        Angle between adapter and wrench; 0 lengthens it, 90 changes nothing, 180 shortens it, [deg]

    Raises
    ------
    CannotEvaluate
        ``adapter_impossible``: the adapter reaches back to the grip or beyond.

    Source
    ------
    T_w = T L/(L + E cos a). US Army TM 1-1500-204-23-9, p. 8; FAA AC 43.13-1B, fig. 7-2 (from memory).
    """
    across = abs(adapter_angle_deg) % 180 == 90
    reach_mm = 0.0 if across else adapter_length_mm * cos(radians(adapter_angle_deg))
    if length_mm + reach_mm <= 0:
        detail = "the adapter reaches back to the grip of the wrench or beyond: no setting gives the torque"
        raise CannotEvaluate(detail, code="adapter_impossible", field="wrench/adapter_length")
    return torque_n_m * (length_mm / (length_mm + reach_mm))


@dataclass(frozen=True, slots=True)
class WrenchAnswer:
    """Setting of the wrench at the final torque and the first stage, [N m]; None where it cannot be told."""

    setting_n_m: float | None
    first_setting_n_m: float | None
    suitable: bool | None
    missing: tuple[Missing, ...] = ()
    warnings: tuple[Warned, ...] = ()

    def record(self) -> dict[str, Any]:
        """Return the wire member ``wrench``; ``needed`` is the range that the usable scale must hold."""
        needed = None
        if self.suitable is False and self.setting_n_m is not None and self.first_setting_n_m is not None:
            needed = {"min": units.torque(self.first_setting_n_m), "max": units.torque(self.setting_n_m)}
        return {
            "setting": None if self.setting_n_m is None else units.torque(self.setting_n_m),
            "first_setting": None if self.first_setting_n_m is None else units.torque(self.first_setting_n_m),
            "suitable": self.suitable,
            "needed": needed,
        }


def wrench_answer(wrench: Wrench, *, torque_n_m: float | None, first_torque_n_m: float | None) -> WrenchAnswer:
    """Return the settings for the final torque, which decides whether the wrench suits, and for the first stage.

    Raises
    ------
    CannotEvaluate
        ``wrench_range``: the lowest mark is not below the end of the scale; ``adapter_impossible``.
    """
    if not 0 < wrench.min_n_m < wrench.max_n_m:
        detail = (
            "the lowest mark of the wrench, ",
            units.torque(wrench.min_n_m),
            ", must lie below the end of its scale, ",
            units.torque(wrench.max_n_m),
        )
        raise CannotEvaluate(detail, code="wrench_range", field="wrench/min")
    if torque_n_m is None or first_torque_n_m is None:
        return WrenchAnswer(None, None, None)
    adapter_mm = wrench.adapter_length_mm or 0.0
    if adapter_mm > 0 and wrench.length_mm is None:
        return WrenchAnswer(None, None, None, (SAYS.missing("wrench_length", "wrench/length"),))
    length_mm, angle_deg = wrench.length_mm or 1.0, wrench.adapter_angle_deg or 0.0
    setting_n_m, first_n_m = (
        wrench_setting(
            torque_n_m=torque, length_mm=length_mm, adapter_length_mm=adapter_mm, adapter_angle_deg=angle_deg
        )
        for torque in (torque_n_m, first_torque_n_m)
    )
    suitable = wrench.lowest_usable_n_m <= setting_n_m <= wrench.max_n_m
    return WrenchAnswer(setting_n_m, first_n_m, suitable, (), _first_stage_warning(wrench, first_n_m, suitable))


def _first_stage_warning(wrench: Wrench, first_n_m: float, suitable: bool) -> tuple[Warned, ...]:
    if not suitable or first_n_m >= wrench.lowest_usable_n_m:
        return ()
    torque, lowest = units.torque(first_n_m), units.torque(wrench.lowest_usable_n_m)
    return (SAYS.warned("first_stage_below_wrench", torque=torque, lowest=lowest),)
