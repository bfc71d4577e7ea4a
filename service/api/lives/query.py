"""What a reliability question may say: which stays, how they count, by what they are grouped. No numbers are made."""

from collections.abc import Sequence
from typing import Any, Final

from service.api.http import fields
from service.api.http.fields import Refused
from service.api.http.schema import UnitsQuery
from service.api.stays.schemas import ChosenQuery
from service.api.wire.damage import DamageField
from service.errors import shown
from service.history.attributes import PREFIX, named
from service.use_cases.lives.keys import CLASSES, COVARIATES, DAMAGE, DATES, KEYS, KNOWN_AT_REMOVAL
from service.words import CLEARANCE_READINGS, COUNTS, DATE_WORDS, INTERVAL_KINDS

METHODS: Final = ("maximum_likelihood", "modified")
EVENTS: Final = ("replacement", "failure")
POINTS: Final = ("thinned", "all")
RANKED: Final = ("position", "asset")
MOST_KEYS: Final = 3
MOST_COVARIATES: Final = 12


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

    def __init__(
        self, choices: Sequence[str], *, most: int = MOST_KEYS, said: str = "", attributes: bool = False, **kwargs: Any
    ) -> None:
        listed = ", ".join([*choices, *([f"{PREFIX}NAME"] if attributes else [])])
        description = f"One to {most} of {listed}; commas between them. {said}".strip()
        super().__init__(300, metadata={"description": description, "examples": [choices[0]]}, **kwargs)
        self.choices, self.most = tuple(choices), most
        self.attributes = attributes

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        words = tuple(word.strip() for word in super()._deserialize(value, attr, data, **kwargs).split(","))
        unknown = [
            word for word in words if word not in self.choices and not (self.attributes and named(word) is not None)
        ]
        if unknown:
            raise Refused("unknown_choice", f"{shown(unknown[0])} is not one of {', '.join(self.choices)}")
        if len(words) > self.most or len(set(words)) != len(words):
            raise Refused("wrong_length", f"one to {self.most} different words are taken")
        return words


class GroupKeys(Keys):
    """Keys, of which one may be a date of fitting."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        words = super()._deserialize(value, attr, data, **kwargs)
        dates = [word for word in words if word in DATES]
        if len(dates) > 1:
            raise Refused("wrong_length", f"one date of fitting is taken, not {' and '.join(dates)}")
        return words


class CovariateKeys(Keys):
    """Names of covariates; dates are taken here and refused with their reason where the answer is made."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        given = value.split(",") if isinstance(value, str) else []
        dates = tuple(word.strip() for word in given if word.strip() in DATE_WORDS)
        return dates or super()._deserialize(value, attr, data, **kwargs)


def level_field(default: float = 0.95) -> NumberInQuery:
    """Return the parameter that sets the confidence level of limits."""
    said = {"description": "Confidence level of limits; verdicts are always at 5 % for a whole answer"}
    return NumberInQuery(least=0.5, most=0.999, load_default=default, metadata=said)


def class_field() -> Keys:
    """Return the parameter that parts classes."""
    return Keys(CLASSES, said="Parts the classes; the designation always does.", load_default=("designation",))


class LivesQuery(ChosenQuery, UnitsQuery):
    """Which stays are asked about, and what counts as a failure."""

    count = fields.Choice(
        COUNTS,
        load_default="by_reason",
        metadata={
            "description": "How bearings count that were removed and not looked at: by_reason (default) takes those "
            "removed by plan for sound and leaves out those removed on condition"
        },
    )


class RecurrenceQuery(LivesQuery):
    """Which events of positions are counted."""

    event = fields.Choice(
        EVENTS, load_default="replacement", metadata={"description": "What recurs: any replacement, or failures alone"}
    )
    points = fields.Choice(
        POINTS,
        load_default="thinned",
        metadata={"description": "thinned: what a picture can show, each point exact; all: every event"},
    )
    level = level_field()


class PositionRecurrenceQuery(UnitsQuery):
    """Which events of one position are counted."""

    event = fields.Choice(EVENTS, load_default="replacement")
    count = fields.Choice(COUNTS, load_default="by_reason")
    damage = DamageField()
    points = fields.Choice(POINTS, load_default="thinned")
    level = level_field()


class RankingQuery(LivesQuery):
    """How positions, or machines, are ranked; filters choose what is shown."""

    by = fields.Choice(RANKED, load_default="position", metadata={"description": "What is ranked"})
    class_by = class_field()
    times_class = NumberInQuery(
        above=0, most=100, load_default=1.5, metadata={"description": "Ratio that probability_above asks about"}
    )
    level = level_field()
    top = fields.Whole(1, 1000, in_query=True, load_default=50, metadata={"description": "Places in the answer"})


class ComparisonQuery(LivesQuery):
    """By what stays are compared; filters choose what is shown."""

    group_by = GroupKeys(
        tuple(KEYS),
        attributes=True,
        load_default=("position",),
        said="shaft, work_order: bearings fitted side by side; window: where the clearance lay; fitted_month, "
        "fitted_quarter beside others: runs of months that stand out.",
    )
    class_by = class_field()
    level = level_field()
    top = fields.Whole(1, 1000, in_query=True, load_default=50, metadata={"description": "Groups in the answer"})


class EarlyQuery(ComparisonQuery):
    """What counts as early, and by what it is grouped."""

    within_h = NumberInQuery(above=0, most=1e6, load_default=1000, metadata={"description": "Hours after fitting"})


class MountingQuery(LivesQuery):
    """What stays are compared within; filters choose what is shown in the bins."""

    class_by = class_field()


class RegressionQuery(LivesQuery):
    """What may go with a higher failure rate."""

    covariates = CovariateKeys(
        tuple(COVARIATES),
        most=MOST_COVARIATES,
        attributes=True,
        said="All are held at once; dates and orders of fitting are refused (422).",
        load_default=("residual_clearance", "manufacturer"),
    )
    class_by = class_field()
    level = level_field()


class ChangeQuery(LivesQuery):
    """The date at which something was changed."""

    at = fields.Timestamp(
        required=True, metadata={"description": "When it was changed; must be given, not searched for"}
    )
    class_by = class_field()
    ageing = fields.Choice(
        ("true", "false"),
        load_default="false",
        metadata={"description": "true: also how many times as fast bearings age after the date; takes seconds"},
    )
    level = level_field()


class ForecastQuery(LivesQuery):
    """How far ahead."""

    class Meta(LivesQuery.Meta):
        exclude = ("damage",)  # a bearing is replaced whatever it failed by

    months = fields.Whole(1, 60, in_query=True, load_default=12, metadata={"description": "How far ahead"})
    group_by = GroupKeys(tuple(KEYS), attributes=True, load_default=("designation",), said="position: of each place.")
    class_by = class_field()
    level = level_field(0.9)


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

    group_by = GroupKeys((*KEYS, *KNOWN_AT_REMOVAL, DAMAGE), attributes=True, load_default=("designation",))
    level = level_field()
    interval = fields.Choice(
        INTERVAL_KINDS, load_default="likelihood_ratio", metadata={"description": "How limits are made"}
    )
    method = fields.Choice(
        METHODS,
        load_default="maximum_likelihood",
        metadata={"description": "modified: nearly unbiased shape for few failures (Cox-Reid, Yang & Xie 2003)"},
    )
    assumed_shape = NumberInQuery(
        above=0.1,
        most=20,
        metadata={"description": "Shape of the bound where nothing can be estimated (default: in common, else 1.5)"},
    )
    steps = fields.Choice(
        ("true", "false"), load_default="false", metadata={"description": "true: with every step of the survival"}
    )


class LifePictureQuery(LifeQuery):
    """What a picture of a life analysis shows."""

    group = fields.Text(200, metadata={"description": "With a picture: which group, when there are several"})
    picture = fields.Choice(
        ("probability", "survival", "incidence"),
        load_default="probability",
        metadata={
            "description": "With Accept: image/svg+xml: probability plot, survival steps, or shares that fail by each "
            "mode of damage, stacked"
        },
    )


class AgeQuery(LifeQuery):
    """What a replacement costs, in the same money."""

    level = level_field(0.9)

    preventive_cost = NumberInQuery(
        above=0, most=1e12, metadata={"description": "Cost of a replacement before failure"}
    )
    failure_cost = NumberInQuery(above=0, most=1e12, metadata={"description": "Cost of a failure with its replacement"})
