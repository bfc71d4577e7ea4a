"""What closes a step (rules I2, I5): common practice, no source."""

from typing import Any

import pytest

from service.instructions.closing import is_confirmable, is_stop, stop_id


def step(name: str, *, hold: int | None = None, stop: str | None = None, **record: Any) -> dict[str, Any]:
    return {"id": name, "hold": hold, "stop": stop, "record": record or None}


def test_a_stop_is_never_confirmed() -> None:
    stop = step(stop_id("too_hot"), stop="too_hot", kind="confirmation")
    assert is_stop(stop) and not is_confirmable(stop)
    assert not is_stop(step("stopper-fitted"))


@pytest.mark.parametrize(
    ("asked", "confirmable"),
    [
        (step("turn"), True),
        (step("turn", kind="confirmation"), True),
        (step("lay-out", kind="bearing_spacing"), True),
        (step("isolate", hold=1, kind="try_start"), False),
        (step("initial", hold=3, kind="initial_clearance"), False),
        (step("before-start", hold=8, kind="stop_limit"), False),
    ],
)
def test_a_tick_closes_lines_and_no_hold(asked: dict[str, Any], confirmable: bool) -> None:
    assert is_confirmable(asked) is confirmable
