"""What closes a step (rules I2, I5): common practice, no source."""

from typing import Any

import pytest

from service.instructions.closing import is_confirmable, is_stop, stop_id


def step(name: str, **record: Any) -> dict[str, Any]:
    return {"id": name, "record": record or None}


def test_a_stop_is_never_confirmed() -> None:
    stop = step(stop_id("too_hot"), kind="confirmation")
    assert is_stop(stop) and not is_confirmable(stop)
    assert not is_stop(step("stopper-fitted"))


@pytest.mark.parametrize(
    ("asked", "confirmable"),
    [
        (step("lock-out"), True),
        (step("lock-out", kind="confirmation"), True),
        (step("spacing", kind="bearing_spacing", limits=None), True),
        (step("spacing", kind="bearing_spacing", limits={"min": 1, "max": 2}), False),
        (step("initial", kind="initial_clearance", limits=None), False),
        (step("residual", kind="residual_clearance"), False),
    ],
)
def test_a_confirmation_stands_for_no_reading_that_can_be_judged(asked: dict[str, Any], confirmable: bool) -> None:
    assert is_confirmable(asked) is confirmable
