"""STOP steps: where the work must not be done like this; texts and place of each code stand in ``data/stops.toml``."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from service.instructions.closing import stop_id
from service.instructions.plan.messages import table
from service.instructions.plan.step_table import StepTemplate, step_template


@cache
def stops() -> Mapping[str, Mapping[str, Any]]:
    """Return title, rule and texts of the STOP step of each blocked code."""
    return {each["code"]: each for each in table("stops")["stop"]}


@cache
def stop_template(code: str) -> tuple[StepTemplate, tuple[str, ...]]:
    """Return the STOP step of a code, and the steps before the first of which it stands."""
    given = stops().get(code) or table("stops")["other"]
    members = {name: value for name, value in given.items() if name not in ("code", "before")}
    template = step_template({**members, "id": stop_id(code), "record": {"kind": "confirmation"}})
    return template, tuple(given["before"])
