"""What answers to reliability questions look like."""

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, SourceFact, WarnedFact, nested, quantity, word, words
from service.words import DIFFERENCES, STRENGTHS


def number(*, null: bool = False) -> ma_fields.Float:
    """Return a number without unit."""
    return ma_fields.Float(required=True, allow_none=null)


def whole(*, null: bool = False) -> ma_fields.Integer:
    """Return a count."""
    return ma_fields.Integer(required=True, allow_none=null)


class Estimate(AnswerSchema):
    """A number with its limits; null where the data close no limit."""

    estimate = number()
    lower = number(null=True)
    upper = number(null=True)


class EstimateOfHours(AnswerSchema):
    """Hours with their limits; null where the data close no limit."""

    estimate = quantity(null=True)
    lower = quantity(null=True)
    upper = quantity(null=True)


class ExcludedStays(AnswerSchema):
    """Stays that were left out, and why."""

    reason = word()
    detail = word()
    count = whole()


class LifeCounts(AnswerSchema):
    """What the answer stands on."""

    stays = whole()
    failed = whole()
    censored = whole()
    excluded = nested(ExcludedStays, many=True)


class Exposure(AnswerSchema):
    """Hours under observation, and when running stays were looked at."""

    total = quantity()
    as_of = ma_fields.DateTime(required=True, allow_none=True)


class WeibullRead(AnswerSchema):
    """A Weibull fit."""

    shape = nested(Estimate)
    scale = nested(EstimateOfHours)
    log_likelihood = number()
    interval_kind = word()
    level = number()
    method = word()


class SurvivalStep(AnswerSchema):
    """A step of the survival."""

    age = quantity()
    at_risk = whole()
    failed = whole()
    survival = number()
    lower = number(null=True)
    upper = number(null=True)


class SurvivalRead(AnswerSchema):
    """Survival without a model (Kaplan-Meier)."""

    steps = nested(SurvivalStep, many=True, null=True)
    limit_kind = word()
    level = number()
    b10 = quantity(null=True)
    median = quantity(null=True)
    restricted_mean = quantity()
    restricted_to = quantity()


class ShapeBoundRead(AnswerSchema):
    """Lower bounds for one assumed shape."""

    shape = number()
    scale_lower = quantity()
    b10_lower = quantity()


class BoundRead(ShapeBoundRead):
    """What stands where no estimate may: lower bounds, the shape assumed."""

    kind = word()
    level = number()
    failed = number()
    shape_origin = word()
    sensitivity = nested(ShapeBoundRead, many=True)


class SurvivalAt(AnswerSchema):
    """Survival at an age with its limits."""

    estimate = number()
    lower = number(null=True)
    upper = number(null=True)


class RatedLifeRead(AnswerSchema):
    """B10 seen against the rating life of ISO 281."""

    rating_life = quantity()
    ratio = nested(Estimate)
    interval_kind = word()
    p_value = number()
    survival_at_rating_life = nested(SurvivalAt, null=True)
    detail = word()
    source = nested(SourceFact)
    all_causes = ma_fields.Boolean(required=False)


class LifeItem(AnswerSchema):
    """The life analysis of a group."""

    group = word()
    counts = nested(LifeCounts)
    exposure = nested(Exposure)
    weibull = nested(WeibullRead, null=True)
    b10 = nested(EstimateOfHours, null=True)
    median = nested(EstimateOfHours, null=True)
    mean = nested(EstimateOfHours, null=True)
    kaplan_meier = nested(SurvivalRead, null=True)
    bound = nested(BoundRead, null=True)
    rated_life = nested(RatedLifeRead, null=True)
    assumptions = words()
    warnings = nested(WarnedFact, many=True)


class LifeAnswer(AnswerSchema):
    """The life analysis."""

    items = nested(LifeItem, many=True)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class CumulativeStep(AnswerSchema):
    """Mean cumulative number of events of a position by an age."""

    age = quantity()
    at_risk = number()
    events = number()
    mean_cumulative_number = number()
    lower = number()
    upper = number()


class TestRead(AnswerSchema):
    """A test: statistic and two-sided p-value."""

    statistic = number()
    p_value = number()


class PowerLawRead(AnswerSchema):
    """Power law of the events: shape above 1 means worse."""

    shape = nested(Estimate)
    shape_unbiased = number()
    scale = quantity()
    limits_exact = ma_fields.Boolean(required=True)


class TrendRead(AnswerSchema):
    """Is it getting worse?"""

    events = whole()
    positions = whole()
    strength = ma_fields.String(required=True, metadata={"enum": list(STRENGTHS)})
    verdict = word(null=True, description="worse, better or no_trend_seen: that of Lewis and Robinson")
    detail = word()
    laplace = nested(TestRead, null=True)
    lewis_robinson = nested(TestRead, null=True)
    mil_hdbk_189 = nested(TestRead, null=True)
    power_law = nested(PowerLawRead, null=True)


class RecurrenceAnswer(AnswerSchema):
    """How events of positions recur."""

    group = word()
    event = word()
    positions = whole()
    events = whole()
    watched = quantity()
    mean_cumulative_number = nested(CumulativeStep, many=True)
    level = number()
    trend = nested(TrendRead)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class RankedPosition(AnswerSchema):
    """A position with its failures, seen and expected."""

    rank = whole()
    group = word()
    position_id = word()
    asset = word()
    position = word()
    observed = number()
    expected = number()
    ratio = nested(Estimate)
    shrunk_ratio = nested(Estimate)
    probability_above = number()


class SpreadRead(AnswerSchema):
    """Do positions differ by more than chance?"""

    statistic = number()
    degrees_of_freedom = whole()
    p_value = number()
    evidence = ma_fields.Boolean(required=True)


class RankingAnswer(AnswerSchema):
    """Positions that fail more often than their class explains, the surest first."""

    items = nested(RankedPosition, many=True)
    positions = whole()
    spread = nested(SpreadRead)
    level = number()
    times_class = number()
    detail = word()
    assumptions = words()
    sources = nested(SourceFact, many=True)


class EarlyItem(AnswerSchema):
    """Early failures of a group."""

    group = word()
    stays = number()
    observed = number()
    expected = number()
    ratio = nested(Estimate, null=True)
    p_value = number()


class EarlyAnswer(AnswerSchema):
    """Early failures, the surest excess first."""

    by = word()
    within = quantity()
    groups = whole()
    items = nested(EarlyItem, many=True)
    exceeding = words()
    detail = word()
    assumptions = words()
    sources = nested(SourceFact, many=True)


class BinRead(AnswerSchema):
    """A bin of stays."""

    bin = word()
    stays = number()
    observed = number()
    expected = number()


class LogRankRead(AnswerSchema):
    """Do lives differ between the bins?"""

    statistic = number()
    degrees_of_freedom = whole()
    p_value = number()


class ScoreRead(AnswerSchema):
    """Does life go one way with the number of the bin? Above zero: the higher the bin, the sooner the failure."""

    z = number()
    p_value = number()


class FactorRead(AnswerSchema):
    """Does life depend on this?"""

    name = word()
    factor = word()
    bins = nested(BinRead, many=True)
    verdict = ma_fields.String(required=True, metadata={"enum": list(DIFFERENCES)})
    log_rank = nested(LogRankRead, null=True)
    trend = nested(ScoreRead, null=True)
    failures_needed = whole(null=True)
    detail = word()


class MountingAnswer(AnswerSchema):
    """Does life depend on how the bearings were mounted?"""

    items = nested(FactorRead, many=True)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class DigitsRead(AnswerSchema):
    """How often each last digit was written down, 0 to 9."""

    counts = ma_fields.List(ma_fields.Integer(), required=True)
    readings = whole()
    statistic = number(null=True)
    p_value = number(null=True)
    verdict = word()
    readings_needed = whole()


class RepeatsRead(AnswerSchema):
    """How well repeats of a reading agree."""

    degrees_of_freedom = whole()
    standard_deviation = quantity(null=True)
    standard_deviation_upper = quantity(null=True)
    limit = quantity(null=True)
    verdict = word()
    degrees_of_freedom_needed = whole()


class ReadingQualityAnswer(AnswerSchema):
    """How good the readings are."""

    readings = whole()
    read_with_blades = whole()
    digit_preference = nested(DigitsRead)
    repeatability = nested(RepeatsRead)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class AgeRead(AnswerSchema):
    """The age with the least cost per hour; null in it where no age limit is supported."""

    supported = ma_fields.Boolean(required=True)
    age = nested(EstimateOfHours)
    cost_relative_to_running_to_failure = number(null=True)
    cost_ratio = number()
    detail = word()


class AgeItem(AnswerSchema):
    """When to replace the bearings of a group."""

    group = word()
    counts = nested(LifeCounts)
    exposure = nested(Exposure)
    weibull = nested(WeibullRead, null=True)
    warnings = nested(WarnedFact, many=True)
    replacement_age = nested(AgeRead, null=True)


class AgeAnswer(AnswerSchema):
    """When to replace."""

    items = nested(AgeItem, many=True)
    assumptions = words()
    sources = nested(SourceFact, many=True)
