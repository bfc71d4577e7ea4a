"""The member ``run_in`` of a plan: at which temperature the machine is stopped, and how warm it is where it stands."""

from typing import Final

from service import units
from service.instructions.plan.scene import Scene
from service.record import Record

STOP_DEGC: Final = 100.0
WARN_DEGC: Final = 88.0
"""Run-in stop limit and warning where the site has none: default of this service, no common limit is printed."""


def run_in_record(scene: Scene) -> Record:
    """Return {stop_limit, default, room}: ``default`` where the site names no limit of its own (R12)."""
    limit_degc = scene.job.stop_limit_degc
    return {
        "stop_limit": units.temperature_limit(STOP_DEGC if limit_degc is None else limit_degc),
        "default": limit_degc is None,
        "room": units.temperature(scene.job.assembly_temperature_degc),
    }
