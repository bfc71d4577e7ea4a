"""What answers to questions about lives look like: verdicts, life analysis, ages to replace at, quality of readings."""

from typing import ClassVar

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, SourceFact, WarnedFact, nested, quantity, word, words
from service.words import INTERVALS_MADE, OUTCOMES


def number(*, null: bool = False) -> ma_fields.Float:
    """Return a number without unit."""
    return ma_fields.Float(required=True, allow_none=null)


def whole(*, null: bool = False) -> ma_fields.Integer:
    """Return a count."""
    return ma_fields.Integer(required=True, allow_none=null)


def flag() -> ma_fields.Boolean:
    """Return a yes or no."""
    return ma_fields.Boolean(required=True)


class Estimate(AnswerSchema):
    """A number with its limits; null where the data close no limit."""

    estimate = number()
    lower = number(null=True)
    upper = number(null=True)


class HoursRange(AnswerSchema):
    """Hours with their limits; null where not reached, or where the data close no limit."""

    estimate = quantity(null=True)
    lower = quantity(null=True)
    upper = quantity(null=True)


class NumberRange(AnswerSchema):
    """A number with its limits; null where there is none, or where the data close no limit."""

    estimate = number(null=True)
    lower = number(null=True)
    upper = number(null=True)


class EstimateOfHours(HoursRange):
    """Hours of a fit with their limits, and how these were made; null: there are none of this kind."""

    interval_kind = ma_fields.String(required=True, allow_none=True, metadata={"enum": [*INTERVALS_MADE, None]})


class B10Read(EstimateOfHours):
    """The age by which a tenth has failed, by the fit."""

    lower_calibrated = quantity(null=True)
    condition = word(null=True, description="Of a mode of damage: if the other modes did not exist")
    not_supported = flag()


class VerdictRead(AnswerSchema):
    """One claim, or why there is none."""

    verdict = ma_fields.String(required=True, metadata={"enum": list(OUTCOMES)})
    detail = word()
    test = word()
    p_value = number(null=True)
    adjusted_p = number(null=True)
    needed_failures = whole(null=True)
    power_for_doubling = number(null=True)


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
    scale = nested(HoursRange)
    log_likelihood = number()
    interval_kind = ma_fields.String(required=True, metadata={"enum": list(INTERVALS_MADE)})
    level = number()
    method = word()
    not_supported = flag()


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
    b10 = nested(HoursRange)
    median = nested(HoursRange)
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
    interval_kind = ma_fields.String(required=True, metadata={"enum": list(INTERVALS_MADE)})
    p_value = number()
    adjusted_p = ma_fields.Float(
        required=True,
        metadata={"description": "With few failures and the other groups allowed for; the sentence goes by it"},
    )
    survival_at_rating_life = nested(SurvivalAt, null=True)
    detail = word()
    source = nested(SourceFact)
    not_supported = flag()


class FitBinRead(AnswerSchema):
    """Failures between two ages, seen and expected from the fit; ``to`` null: and later."""

    class Meta(AnswerSchema.Meta):
        include: ClassVar = {"from": quantity()}

    to = quantity(null=True)
    observed = number()
    expected = number()


class FitRead(VerdictRead):
    """Does the Weibull describe these lives?"""

    bins = nested(FitBinRead, many=True)


class HungRead(AnswerSchema):
    """B10 and median read from the survival curve; null where not reached."""

    b10 = quantity(null=True)
    median = quantity(null=True)


class BoundsRead(AnswerSchema):
    """What hangs on bearings that were removed and nobody looked at: all of them failed (worst), all sound (best)."""

    uninspected = whole()
    worst = nested(HungRead)
    best = nested(HungRead)


class DamageBoundsRead(AnswerSchema):
    """What hangs on failures of which nobody recorded the damage: all of this mode (worst), none (best)."""

    unrecorded = whole()
    worst = nested(HungRead)
    best = nested(HungRead)


class CommonShapeRead(AnswerSchema):
    """The shape that the groups of the answer have in common, and whether it may serve those with few failures."""

    shape = number(null=True)
    classes = whole()
    failures = number()
    test = word()
    statistic = number(null=True)
    p_value = number(null=True)
    may_serve_few = flag()


class ShareRead(AnswerSchema):
    """A share with its limits; null before the first failure by the mode."""

    estimate = number()
    lower = number(null=True)
    upper = number(null=True)


class IncidenceStep(AnswerSchema):
    """The share that has failed by the mode up to an age."""

    age = quantity()
    share = number()
    lower = number()
    upper = number()


class IncidenceRead(AnswerSchema):
    """The share that fails by a mode of damage while the other modes are at work (Aalen-Johansen)."""

    mode = word()
    age = quantity()
    share = nested(ShareRead)
    level = number()
    steps = nested(IncidenceStep, many=True, null=True)


class LifeItem(AnswerSchema):
    """The life analysis of a group."""

    group = word()
    detail = word()
    goodness_of_fit = nested(FitRead)
    counts = nested(LifeCounts)
    exposure = nested(Exposure)
    weibull = nested(WeibullRead, null=True)
    b10 = nested(B10Read, null=True)
    median = nested(EstimateOfHours, null=True)
    mean = nested(EstimateOfHours, null=True)
    kaplan_meier = nested(SurvivalRead, null=True)
    bound = nested(BoundRead, null=True)
    bounds = nested(BoundsRead, null=True)
    unrecorded_damage = nested(DamageBoundsRead, null=True)
    shape_common = nested(CommonShapeRead, null=True)
    cumulative_incidence = nested(IncidenceRead, null=True)
    rated_life = nested(RatedLifeRead, null=True)
    assumptions = words()
    warnings = nested(WarnedFact, many=True)


class LifeAnswer(AnswerSchema):
    """The life analysis."""

    items = nested(LifeItem, many=True)
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


class AgeRead(VerdictRead):
    """The age with the least cost per hour, its cost over that of running to failure, and whether it is worth it."""

    reason = word()
    age = nested(HoursRange)
    relative_cost = nested(NumberRange)
    cost_ratio = number()
    level = number()
    not_supported = flag()


class AgeItem(AnswerSchema):
    """When to replace the bearings of a group."""

    group = word()
    counts = nested(LifeCounts)
    exposure = nested(Exposure)
    goodness_of_fit = nested(FitRead)
    weibull = nested(WeibullRead, null=True)
    warnings = nested(WarnedFact, many=True)
    replacement_age = nested(AgeRead, null=True)


class AgeAnswer(AnswerSchema):
    """When to replace."""

    items = nested(AgeItem, many=True)
    level = number()
    assumptions = words()
    sources = nested(SourceFact, many=True)
