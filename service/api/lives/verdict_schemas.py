"""What answers with verdicts look like: recurrence, ranking, comparisons, mounting, regression, change, forecast."""

from marshmallow import fields as ma_fields

from service.api.lives.schemas import Estimate, LifeCounts, NumberRange, VerdictRead, flag, number, whole
from service.api.wire.answers import AnswerSchema, SourceFact, nested, quantity, word, words


class Answered(AnswerSchema):
    """What every answer says of itself."""

    counts = nested(LifeCounts)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class CumulativeStep(AnswerSchema):
    """Mean cumulative number of events of a position by an age."""

    age = quantity()
    at_risk = number()
    events = ma_fields.Float(required=True, metadata={"description": "Since the step before"})
    mean_cumulative_number = number()
    lower = number()
    upper = number()


class TestRead(AnswerSchema):
    """A statistic with its two-sided p-value; it describes and carries no verdict."""

    statistic = number()
    p_value = number()


class PowerLawRead(AnswerSchema):
    """Power law of the events; it describes and carries no verdict."""

    shape = nested(Estimate)
    shape_unbiased = number()
    scale = quantity()
    limits_exact = flag()


class TrendRead(VerdictRead):
    """Do later bearings in the same positions last less long than earlier ones?"""

    z = number(null=True)
    lives = whole()
    positions = whole()
    life_change_per_year = nested(NumberRange, null=True)
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
    points = word(description="thinned: each point is exact, some are left out; all")
    level = number()
    trend = nested(TrendRead)
    assumptions = words()
    sources = nested(SourceFact, many=True)


class ComparedItem(VerdictRead):
    """Failures of a group, seen and expected."""

    group = word()
    stays = whole()
    observed = number()
    expected = number()
    ratio = nested(Estimate, null=True)
    flagged = flag()


class RankedPlace(ComparedItem):
    """A position, or machine, with its failures; ``shrunk_ratio`` is drawn to the class where its record is thin."""

    rank = whole()
    position_id = word(null=True)
    asset = word()
    position = word(null=True)
    shrunk_ratio = nested(Estimate, null=True)
    probability_above = number(null=True)


class SpreadRead(VerdictRead):
    """Do positions differ at all?"""

    statistic = number()


class RankingAnswer(Answered, VerdictRead):
    """Positions, or machines, that fail more often than their class explains, the surest first."""

    by = word()
    family = ma_fields.Integer(required=True, metadata={"description": "Hypotheses in the answer"})
    groups = whole()
    spread = nested(SpreadRead)
    items = nested(RankedPlace, many=True)
    level = number()
    times_class = number()


class LargestAsset(AnswerSchema):
    """The machine with most failures of a group."""

    asset = word()
    observed = number()


class ComparisonItem(ComparedItem):
    """A group, or a run of months of fitting, with its failures."""

    keys = ma_fields.Dict(
        keys=ma_fields.String(),
        required=True,
        metadata={"description": "The value of each key; of a run of months {from, to}, both inside"},
    )
    largest_asset = nested(LargestAsset, null=True)


class ComparisonAnswer(Answered, VerdictRead):
    """Groups that fail more than others like them, the surest first."""

    group_by = words()
    family = ma_fields.Integer(required=True, metadata={"description": "Hypotheses in the answer"})
    groups = whole()
    named = words()
    items = nested(ComparisonItem, many=True)
    level = number()


class EarlyAnswer(ComparisonAnswer):
    """Groups that fail early more than others like them, the surest first."""

    within = quantity()


class ShownRead(AnswerSchema):
    """What passes the filters."""

    stays = number()
    observed = number()
    expected = number()


class BinRead(AnswerSchema):
    """A bin of stays."""

    bin = word()
    stays = number()
    observed = number()
    expected = number()
    shown = nested(ShownRead, null=True)


class LogRankRead(AnswerSchema):
    """Do lives differ between the bins?"""

    statistic = number()
    degrees_of_freedom = whole()
    p_value = number()


class ScoreRead(AnswerSchema):
    """Does life go one way with the number of the bin? Above zero: the higher the bin, the sooner the failure."""

    z = number()
    p_value = number()


class FactorRead(VerdictRead):
    """Do lives differ by this?"""

    name = word()
    factor = word()
    bins = nested(BinRead, many=True)
    flagged = flag()
    log_rank = nested(LogRankRead, null=True)
    trend = nested(ScoreRead, null=True)


class MountingAnswer(Answered):
    """Do lives differ by how the bearings were mounted?"""

    items = nested(FactorRead, many=True)
    family = whole()


class RatioRead(AnswerSchema):
    """Ratio of failure rates, for a step of a number or of a kind to the reference."""

    label = word()
    estimate = number()
    lower = number()
    upper = number()


class SameAtAllAges(AnswerSchema):
    """Is the ratio the same at all ages? Where it is not, those below and above the median failure age."""

    verdict = word()
    p_value = number()
    adjusted_p = number()
    test = word()
    below_median_failure_age = nested(RatioRead, many=True)
    above_median_failure_age = nested(RatioRead, many=True)


class CovariateRead(VerdictRead):
    """Do failure rates differ by this, the other covariates held?"""

    name = word()
    flagged = flag()
    ratios = nested(RatioRead, many=True)
    step = number()
    reference = word(null=True)
    belongs_to_position = flag()
    known = whole()
    same_at_all_ages = nested(SameAtAllAges, null=True)


class RegressionAnswer(Answered):
    """What goes with a higher failure rate."""

    items = nested(CovariateRead, many=True)
    family = whole()
    lives = whole()
    failures = whole()
    machines = whole()
    left_out = whole()
    level = number()


class SideRead(AnswerSchema):
    """Failures on one side of the date; expected by the class, which does not allow for positions that differ."""

    observed = number()
    expected = number()


class AgeingRead(NumberRange):
    """How many times as fast bearings age after the date as before."""

    level = number()


class ChangeAnswer(Answered, VerdictRead):
    """Do bearings of the same positions fail more, or less, after the date?"""

    at = ma_fields.DateTime(required=True)
    before = nested(SideRead)
    after = nested(SideRead)
    ageing_after = nested(AgeingRead, null=True)
    orders = whole()
    lives = whole()
    positions = whole()


class CountRangeRead(AnswerSchema):
    """A number to come."""

    median = whole()
    lower = whole()
    upper = whole()


class SeenRead(AnswerSchema):
    """What was replaced in as many months before; no model."""

    failures = whole()
    replacements = whole()


class ForecastItem(AnswerSchema):
    """What is to come for the bearings of a group: a designation, or what else is asked for."""

    group = word()
    held = word(null=True, description="too_few: nothing can be forecast")
    detail = word()
    running = whole()
    left_out = whole()
    failures = nested(CountRangeRead, null=True)
    replacements = nested(CountRangeRead, null=True)
    seen_before = nested(SeenRead)
    goodness_of_fit = nested(VerdictRead, null=True)
    not_supported = flag()


class ForecastAnswer(Answered):
    """How many bearings will be wanted."""

    months = whole()
    horizon = quantity()
    as_of = ma_fields.DateTime(required=True)
    covers = word()
    level = number()
    draws = whole()
    items = nested(ForecastItem, many=True)
    total = nested(ForecastItem)
