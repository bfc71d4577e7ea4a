"""The labels beside the scale of the clearance window: each near its height, none over another."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.render.pictures.drawing import MARGIN, WIDTH, Drawing, Line, Words, spread, wrapped
from service.render.pictures.window_scale import Scale

ELBOW: Final = 194.0
LEFT: Final = 212.0
NAME_SIZE: Final = 12.0
VALUE_SIZE: Final = 13.0
NAME_HEIGHT: Final = 15.0
VALUE_HEIGHT: Final = 17.0
GAP: Final = 6.0


@dataclass(frozen=True, slots=True)
class Label:
    """A number with its name; ``value_nm`` is its height on the scale, ``leader_from`` where its leader begins."""

    value_nm: float
    name: str
    values: tuple[str, ...]
    leader_from: float

    @property
    def lines(self) -> tuple[str, ...]:
        """Return the values broken into lines."""
        room = WIDTH - MARGIN - LEFT
        return tuple(line for value in self.values for line in wrapped(value, room, VALUE_SIZE, bold=True))

    @property
    def height(self) -> float:
        """Return the room it takes, [-]."""
        return NAME_HEIGHT + VALUE_HEIGHT * len(self.lines) + GAP


def room_of(labels: Sequence[Label]) -> float:
    """Return the room that all labels take together, [-]."""
    return sum(label.height for label in labels)


def put_labels(drawing: Drawing, scale: Scale, labels: Sequence[Label]) -> None:
    """Write the labels, the largest value first, each joined to its height by a thin line."""
    heights = [label.height for label in labels]
    centres = spread([scale.y(label.value_nm) for label in labels], heights, scale.top - 12, scale.bottom + 16)
    for label, centre, height in zip(labels, centres, heights, strict=True):
        y, top = scale.y(label.value_nm), centre - height / 2
        drawing.add(Line((label.leader_from, y), (ELBOW, y), 0.7, "2 2", part="leader"))
        drawing.add(Line((ELBOW, y), (LEFT - 4, top + NAME_HEIGHT - 4), 0.7, "2 2", part="leader"))
        drawing.add(Words(LEFT, top + NAME_HEIGHT - 2, label.name, NAME_SIZE, part="label-name"))
        for count, line in enumerate(label.lines, start=1):
            baseline = top + NAME_HEIGHT + VALUE_HEIGHT * count - 3
            drawing.add(Words(LEFT, baseline, line, VALUE_SIZE, True, part="label-value"))
        drawing.described.append(f"{label.name}: {' '.join(label.values)}")
