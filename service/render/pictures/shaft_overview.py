"""The shaft with its supports and drives in their places; symbols that would touch stand apart on leaders."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.render.pictures.drawing import WIDTH, Box, Circle, Drawing, Line, Shape, Words, arrow, spread
from service.render.pictures.words import Said
from service.units import Quantity

ENDS: Final = (24.0, WIDTH - 24.0)
PLACES: Final = (44.0, WIDTH - 44.0)
SYMBOL: Final = 26.0
SLOT: Final = 33.0
MOST_IN_A_ROW: Final = 12
RAISED: Final = 40.0
SHAFT_HEIGHT: Final = 10.0
_LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class Station:
    """One support: its number along the shaft, its place, whether the process holds it, what was decided."""

    number: int
    at: Quantity | None
    holds: bool
    answer: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Attached:
    """A drive or a wheel on the shaft."""

    kind: str
    words: str
    at: Quantity | None


@dataclass(frozen=True, slots=True)
class _Axis:
    """Where along the picture each place lies; ``known_to`` is where the part with known places ends."""

    stations: tuple[float, ...]
    attached: tuple[float, ...]
    to_scale: bool
    known_to: float


def overview(drawing: Drawing, stations: Sequence[Station], attached: Sequence[Attached], said: Said) -> None:
    """Draw the shaft, its drives above and its supports below, and name the drives."""
    axis = _axis(stations, attached)
    unknown = [station.answer["name"] for station in stations if station.at is None]
    if axis.to_scale:
        drawing.paragraph("Places along the shaft to scale.", size=12)
    else:
        drawing.paragraph(said(f"NOT TO SCALE along the shaft. Place not known: {', '.join(unknown)}."), size=12)
    drawing.height += 10
    shaft_y = drawing.height + (8 if not attached else 46 if len(attached) <= MOST_IN_A_ROW else 46 + RAISED)
    _attached_row(drawing, attached, axis, shaft_y)
    _shaft(drawing, axis, shaft_y)
    _support_row(drawing, stations, axis, shaft_y + SHAFT_HEIGHT)
    drawing.height = shaft_y + SHAFT_HEIGHT + 78
    drawing.add(
        Words(ENDS[0], drawing.height, "minus", 12, part="end"),
        *arrow((92, drawing.height - 4), (66, drawing.height - 4)),
    )
    drawing.add(
        Words(ENDS[1], drawing.height, "plus", 12, anchor="end", part="end"),
        *arrow((WIDTH - 84, drawing.height - 4), (WIDTH - 58, drawing.height - 4)),
    )
    drawing.height += 6
    for letter, each in zip(_LETTERS, attached, strict=False):
        place = ("place not known",) if each.at is None else ("at ", each.at)
        drawing.paragraph(said((f"{letter} {each.words} ", *place)), size=12)


def _axis(stations: Sequence[Station], attached: Sequence[Attached]) -> _Axis:
    """Return the places in the picture: in proportion, or evenly in their order where one is not known."""
    every: list[Station | Attached] = [*stations, *attached]
    places_mm = [each.at.value for each in every if each.at is not None]
    if len(places_mm) == len(every):
        low_mm, high_mm = min(places_mm), max(places_mm)
        span_mm = (high_mm - low_mm) or 1.0
        lead = PLACES[0] if high_mm > low_mm else WIDTH / 2
        xs = [lead + (at_mm - low_mm) / span_mm * (PLACES[1] - PLACES[0]) for at_mm in places_mm]
        return _Axis(tuple(xs[: len(stations)]), tuple(xs[len(stations) :]), True, ENDS[1])
    return _even_axis(stations, attached)


def _even_axis(stations: Sequence[Station], attached: Sequence[Attached]) -> _Axis:
    """Return places evenly apart: what has a known place in its order, then what has none."""
    every: list[Station | Attached] = [*stations, *attached]
    related = any(station.at is not None for station in stations)
    known = [i for i, each in enumerate(every) if each.at is not None]
    known.sort(key=lambda i: _place_mm(every[i]))
    order = [*known, *(i for i, each in enumerate(every) if each.at is None)]
    step = (PLACES[1] - PLACES[0]) / max(1, len(order) - 1)
    x_of = {i: PLACES[0] + step * count for count, i in enumerate(order)}
    xs = [x_of[i] for i in range(len(every))]
    known_to = x_of[known[-1]] + step / 2 if known and related else ENDS[0]
    return _Axis(tuple(xs[: len(stations)]), tuple(xs[len(stations) :]), False, known_to)


def _place_mm(each: Station | Attached) -> float:
    return 0.0 if each.at is None else each.at.value


def _shaft(drawing: Drawing, axis: _Axis, y: float) -> None:
    """Draw the shaft, dashed where the places on it are not known."""
    left, right = ENDS
    if axis.known_to > left:
        drawing.add(Box(left, y, axis.known_to - left, SHAFT_HEIGHT, "white", 1.6, part="shaft"))
    if axis.known_to < right:
        drawing.add(Box(axis.known_to, y, right - axis.known_to, SHAFT_HEIGHT, "white", 1.6, "5 3", part="shaft"))
    drawing.add(Line((left - 8, y + SHAFT_HEIGHT / 2), (right + 8, y + SHAFT_HEIGHT / 2), 0.7, "10 3 2 3"))


def _slots(xs: Sequence[float]) -> list[float]:
    """Return where the symbols of these places stand, apart from each other and in the order of the places."""
    order = sorted(range(len(xs)), key=lambda i: xs[i])
    room = min(SLOT, (WIDTH - 40) / max(1, len(xs)))
    apart = spread([xs[i] for i in order], [room] * len(xs), 20, WIDTH - 20)
    slots = [0.0] * len(xs)
    for i, x in zip(order, apart, strict=True):
        slots[i] = x
    return slots


def _support_row(drawing: Drawing, stations: Sequence[Station], axis: _Axis, y: float) -> None:
    for station, x, slot in zip(stations, axis.stations, _slots(axis.stations), strict=True):
        dash = "" if station.at is not None else "3 2"
        drawing.add(Line((x, y), (slot, y + 14), 1.2, dash, part=f"place-{station.number}"))
        _support(drawing, station, slot, y + 14)


def _support(drawing: Drawing, station: Station, x: float, y: float) -> None:
    """Draw a block, black where the shaft is held, white where it must move, dashed where that is open."""
    role, half, number = station.answer["role"], SYMBOL / 2, str(station.number)
    if role == "locating":
        drawing.add(Shape(((x - 8, y), (x + 8, y), (x + half, y + 24), (x - half, y + 24)), part="locating"))
        drawing.add(Words(x, y + 18, number, 13, True, "middle", "white", part="number"))
        for side in (-1, 1):
            drawing.add(Line((x + side * 8, y + 30), (x + side * 8, y + 42), 2.5))
        drawing.add(Line((x - 8, y + 36), (x + 8, y + 36), 2.5))
    elif role == "free":
        drawing.add(Shape(((x - 8, y), (x + 8, y), (x + half, y + 24), (x - half, y + 24)), "white", part="free"))
        drawing.add(Words(x, y + 18, number, 13, True, "middle", part="number"))
        for way in {"plus": (1,), "minus": (-1,)}.get(station.answer["direction"], (-1, 1)):
            drawing.add(*arrow((x, y + 36), (x + way * half, y + 36), part="moves"))
    else:
        drawing.add(Box(x - half, y, SYMBOL, 24, "white", 1.4, "3 2", part="open"))
        drawing.add(Words(x, y + 18, number, 13, True, "middle", part="number"))
        drawing.add(Words(x, y + 42, "?", 16, True, "middle", part="question"))


def _attached_row(drawing: Drawing, attached: Sequence[Attached], axis: _Axis, shaft_y: float) -> None:
    """Draw the drives and wheels with their letters; where they are many, every other one stands higher."""
    slots = _slots(axis.attached)
    in_turn = {slot: count % 2 for count, slot in enumerate(sorted(slots))} if len(slots) > MOST_IN_A_ROW else {}
    for letter, each, x, slot in zip(_LETTERS, attached, axis.attached, slots, strict=False):
        y = shaft_y - RAISED * in_turn.get(slot, 0)
        dash = "" if each.at is not None else "3 2"
        drawing.add(Line((slot, y - 14), (slot, shaft_y - 14), 1.2, dash))
        drawing.add(Line((slot, shaft_y - 14), (x, shaft_y), 1.2, dash, part=f"place-{letter}"))
        drawing.add(*_SYMBOLS[each.kind](slot, y - 24))
        drawing.add(Words(slot, y - 38, letter, 12, True, "middle", part="letter"))


def _coupling(x: float, y: float) -> Iterator[Box | Line]:
    yield Line((x - 13, y), (x + 13, y), 3.0, part="coupling")
    yield Box(x - 6, y - 9, 5, 18, "white", 1.6)
    yield Box(x + 1, y - 9, 5, 18, "white", 1.6)


def _belt(x: float, y: float) -> Iterator[Circle | Line]:
    yield Line((x - 7, y), (x - 7, y - 11), 1.6)
    yield Line((x + 7, y), (x + 7, y - 11), 1.6)
    yield Circle((x, y + 2), 7, part="belt")


def _chain(x: float, y: float) -> Iterator[Circle | Line]:
    yield Line((x - 7, y), (x - 7, y - 11), 2.4, "3 2")
    yield Line((x + 7, y), (x + 7, y - 11), 2.4, "3 2")
    yield Circle((x, y + 2), 7, part="chain")
    yield Circle((x, y + 2), 2, "black")


def _gear(x: float, y: float) -> Iterator[Circle | Line]:
    for dx, dy in ((9.0, 0.0), (6.4, 6.4), (0.0, 9.0), (-6.4, 6.4)):
        yield Line((x - dx, y - dy), (x + dx, y + dy), 3.0)
    yield Circle((x, y), 6.5, part="gear")


def _wheel(x: float, y: float) -> Iterator[Box | Line]:
    yield Box(x - 4, y - 10, 8, 20, "white", 2.0, part="wheel")
    yield Line((x - 4, y), (x + 4, y), 2.0)


_SYMBOLS: Final = {"coupling": _coupling, "belt": _belt, "chain": _chain, "gear": _gear, "wheel": _wheel}
