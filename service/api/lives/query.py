"""What a reliability question may say: which stays, how they count, by what they are grouped. No numbers are made."""

from collections.abc import Sequence
from typing import Any, Final

from service.api.http import fields
from service.api.http.fields import Refused
from service.api.http.schema import UnitsQuery
from service.api.stays.schemas import ChosenQuery
from service.api.wire.damage import DamageField
from service.errors import shown
from service.words import CLEARANCE_READINGS, COUNTS, INTERVAL_KINDS

GROUPS: Final = ("designation", "position", "asset", "housing", "role", "damage", "manufacturer")
METHODS: Final = ("maximum_likelihood", "modified")
EVENTS: Final = ("replacement", "failure")
EARLY_GROUPS: Final = (
    "position", "shaft", "asset", "designation", "manufacturer", "installer", "work_order", "window",
)  # fmt: skip
MOST_KEYS: Final = 3


class NumberInQuery(fields.Number):
    """A finite decimal number in a query."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> float:
        try:
            number = float(value) if isinstance(value, str) and len(value) <= 24 and "_" not in value else None
        except ValueError:
            number = None
        if number is None:
            raise Refused("wrong_type", f"{shown(value)} is not a number")
        return super()._deserialize(number, attr, data, **kwargs)


class Keys(fields.Text):
    """One or several of the words, commas between them."""

    def __init__(self, choices: Sequence[str], **kwargs: Any) -> None:
        listed = ", ".join(choices)
        metadata = {"description": f"One to {MOST_KEYS} of {listed}; commas between them", "examples": [choices[0]]}
        super().__init__(120, metadata=metadata, **kwargs)
        self.choices = tuple(choices)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        words = tuple(word.strip() for word in super()._deserialize(value, attr, data, **kwargs).split(","))
        unknown = [word for word in words if word not in self.choices]
        if unknown:
            raise Refused("unknown_choice", f"{shown(unknown[0])} is not one of {', '.join(self.choices)}")
        if len(words) > MOST_KEYS or len(set(words)) != len(words):
            raise Refused("wrong_length", f"one to {MOST_KEYS} different words are taken")
        return words


class LivesQuery(ChosenQuery, UnitsQuery):
    """Which stays are asked about, and what counts as a failure."""

    count = fields.Choice(
        COUNTS,
        load_default="excluded",
        metadata={"description": "How bearings count that were removed and not looked at (default: left out)"},
    )
    level = NumberInQuery(
        least=0.5, most=0.999, load_default=0.95, metadata={"description": "Confidence level of limits"}
    )


class RecurrenceQuery(LivesQuery):
    """Which events of positions are counted."""

    event = fields.Choice(
        EVENTS, load_default="replacement", metadata={"description": "What recurs: any replacement, or failures alone"}
    )


class PositionRecurrenceQuery(UnitsQuery):
    """Which events of one position are counted."""

    event = fields.Choice(EVENTS, load_default="replacement")
    count = fields.Choice(COUNTS, load_default="excluded")
    damage = DamageField()
    level = NumberInQuery(least=0.5, most=0.999, load_default=0.95)


class RankingQuery(LivesQuery):
    """How positions are ranked."""

    class_by = Keys(("designation", "housing", "role", "manufacturer"), load_default=("designation",))
    times_class = NumberInQuery(
        above=0, most=100, load_default=1.5, metadata={"description": "Ratio that probability_above asks about"}
    )
    top = fields.Whole(1, 1000, in_query=True, load_default=50, metadata={"description": "Positions in the answer"})


class EarlyQuery(LivesQuery):
    """What counts as early, and by what it is grouped."""

    within_h = NumberInQuery(above=0, most=1e6, load_default=1000, metadata={"description": "Hours after fitting"})
    by = fields.Choice(
        EARLY_GROUPS,
        load_default="position",
        metadata={"description": "shaft, work_order: bearings fitted side by side; window: where the clearance lay"},
    )
    top = fields.Whole(1, 1000, in_query=True, load_default=50, metadata={"description": "Groups in the answer"})


class MountingQuery(LivesQuery):
    """What stays are compared within."""

    stratify_by = Keys(("designation", "role", "housing"), load_default=("designation",))


class ReadingQualityQuery(UnitsQuery):
    """Which readings are looked at."""

    asset = fields.Text(80, metadata={"description": "Tag of the asset"})
    position = fields.Text(80, metadata={"description": "Name of the position"})
    kind = fields.Choice(CLEARANCE_READINGS)
    from_ = fields.Timestamp(data_key="from", metadata={"description": "Taken at this time or later"})
    to = fields.Timestamp(metadata={"description": "Taken before this time"})
    step_um = NumberInQuery(
        above=0, most=1000, metadata={"description": "Value of the last digit in micrometres; 1, or 2.54 in inches"}
    )


class LifeQuery(LivesQuery):
    """How a life analysis is made."""

    group_by = Keys(GROUPS, load_default=("designation",))
    interval = fields.Choice(
        INTERVAL_KINDS, load_default="likelihood_ratio", metadata={"description": "How limits are made"}
    )
    method = fields.Choice(
        METHODS,
        load_default="maximum_likelihood",
        metadata={"description": "modified: nearly unbiased shape for few failures (Cox-Reid, Yang & Xie 2003)"},
    )
    assumed_shape = NumberInQuery(
        above=0.1, most=20, metadata={"description": "Shape of the bound where nothing can be estimated (default 1.5)"}
    )
    steps = fields.Choice(
        ("true", "false"), load_default="false", metadata={"description": "true: with every step of the survival"}
    )


class LifePictureQuery(LifeQuery):
    """What a picture of a life analysis shows."""

    group = fields.Text(200, metadata={"description": "With a picture: which group, when there are several"})
    picture = fields.Choice(
        ("probability", "survival"),
        load_default="probability",
        metadata={"description": "With Accept: image/svg+xml: probability plot, or survival steps"},
    )


class AgeQuery(LifeQuery):
    """What a replacement costs, in the same money."""

    preventive_cost = NumberInQuery(
        above=0, most=1e12, metadata={"description": "Cost of a replacement before failure"}
    )
    failure_cost = NumberInQuery(above=0, most=1e12, metadata={"description": "Cost of a failure with its replacement"})
