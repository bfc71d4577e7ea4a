"""The walking order of each case: which step comes when, and for which ends (``data/walks.toml``)."""

from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Final, NamedTuple

from service.errors import TableError
from service.instructions.plan.messages import table
from service.instructions.plan.scene import MOVE_BASE, PLACE_BEFORE_LOCKING, Scene

ONCE: Final = "once"


class Stop(NamedTuple):
    """One place in the walking order: a step, and the ends it is for; several steps where each end has one of them."""

    steps: tuple[str, ...]
    scope: str


def case_of(scene: Scene) -> str:
    """Return the name of the walking order that an order takes."""
    if scene.vertical:
        return "vertical"
    if scene.job.kind != "replacement":
        return "inspection"
    if scene.held is None:
        return "open"
    return "held_last" if scene.held_last else "replacement"


@cache
def walks() -> Mapping[str, tuple[Stop, ...]]:
    """Return the walking orders by case.

    Raises
    ------
    TableError
        A scope is unknown.
    """
    found: dict[str, tuple[Stop, ...]] = {}
    for name, steps in table("walks")["walks"].items():
        stops = []
        for each in steps:
            step, _, scope = each.partition(":")
            if (scope or ONCE) not in SCOPES:
                raise TableError(f"walk {name}: unknown scope {scope}")
            stops.append(Stop(tuple(step.split("|")), scope or ONCE))
        found[name] = tuple(stops)
    return found


def _all(scene: Scene) -> Iterator[str]:
    yield from scene.in_order


def _worked(scene: Scene) -> Iterator[str]:
    yield from scene.worked


def _first(scene: Scene) -> Iterator[str]:
    """Yield the bearings that are tightened while the shaft hangs: all but those placed in their base first."""
    later = set(_later(scene))
    yield from (name for name in scene.worked if name not in later)


def _later(scene: Scene) -> Iterator[str]:
    """Yield the free bearings that are placed while their nut is hand-tight, then tightened."""
    if scene.held is not None:
        yield from (name for name in scene.free if name in scene.worked and scene.way(name) == PLACE_BEFORE_LOCKING)


def _held(scene: Scene) -> Iterator[str]:
    if scene.held is not None:
        yield scene.held


def _free(scene: Scene) -> Iterator[str]:
    yield from scene.free


def _slide(scene: Scene) -> Iterator[str]:
    """Yield the free bearings whose base is moved to them."""
    yield from (name for name in scene.free if scene.way(name) == MOVE_BASE)


def _still(scene: Scene) -> Iterator[str]:
    """Yield the free bearings whose base stays: their gap is checked at the end."""
    yield from (name for name in scene.free if scene.way(name) != MOVE_BASE)


def _spans(scene: Scene) -> Iterator[str]:
    """Yield the free bearings where there are several: each has its own distance. One alone is measured once."""
    yield from scene.free if len(scene.free) > 1 else ()


def _open(scene: Scene) -> Iterator[str]:
    yield from scene.open_roles


SCOPES: Final[Mapping[str, Callable[[Scene], Iterator[str]] | None]] = {
    ONCE: None,
    "all": _all,
    "worked": _worked,
    "first": _first,
    "later": _later,
    "held": _held,
    "free": _free,
    "slide": _slide,
    "still": _still,
    "spans": _spans,
    "open": _open,
}


def positions_of(scene: Scene, scope: str) -> tuple[str, ...]:
    """Return the positions of a scope in the order of work; () for ``once``."""
    found = SCOPES[scope]
    return () if found is None else tuple(found(scene))


def per_of(scene: Scene, positions: tuple[str, ...]) -> str:
    """Return how a step is said to be done: once, for each end, for the held or for the free ones."""
    if not positions:
        return ONCE
    if positions == (scene.held,):
        return "held"
    return "free" if set(positions) <= set(scene.free) else "each"
