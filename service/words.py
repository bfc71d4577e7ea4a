"""Every closed list of words that code, wire and tables share, typed once; the words are the contract's."""

from typing import Final, Literal, get_args

# machines
BEARING_TYPES: Final = ("spherical_roller", "self_aligning_ball")
TAPERS: Final = ("1:12", "1:30", "cylindrical")
SLEEVE_TAPERS: Final = ("1:12", "1:30")
CLEARANCE_CLASSES: Final = ("C2", "CN", "C3", "C4", "C5")
SEATS: Final = ("adapter_sleeve", "withdrawal_sleeve", "tapered_journal", "cylindrical")
DRIVE_KINDS: Final = ("coupling", "belt", "chain", "gear")
ROLES: Final = ("locating", "free")
SIDES: Final = ("plus", "minus")
LOAD_DIRECTIONS: Final = ("down", "up", "horizontal", "rotating", "unknown")
LUBRICATIONS: Final = ("grease", "oil")
BASE_MOVEMENTS: Final = ("pinned", "may_slide", "unknown")
"""Whether a free base may be moved along the shaft (readiness R10)."""
SEALINGS: Final = ("lip", "felt", "labyrinth")

# units and paper
UnitSystem = Literal["metric", "inch"]
UNIT_SYSTEMS: Final[tuple[UnitSystem, ...]] = get_args(UnitSystem)
PaperSize = Literal["a4", "letter"]
PAPER_SIZES: Final[tuple[PaperSize, ...]] = get_args(PaperSize)
Level = Literal["brief", "standard", "full"]
LEVELS: Final[tuple[Level, ...]] = get_args(Level)

# orders and their entries
ORDER_KINDS: Final = ("replacement", "inspection")
ORDER_STATUSES: Final = ("open", "completed", "cancelled")
PHOTO_SUBJECTS: Final = ("as_found", "load_mark", "damage", "other")
VERDICTS: Final = ("accept", "recheck", "reject")
CLEARANCE_READINGS: Final = ("initial_clearance", "residual_clearance")
"""Kinds of readings that are always numbers, row by row, and never ticked."""

# books, keys, subscriptions
CHART_KINDS: Final = (
    *("reduction", "initial_clearance", "axial_displacement", "nut_turn", "cap_bolt_torque", "housing"),
)
SCOPES: Final = ("read", "write", "approve", "admin")
SUBSCRIPTION_STATES: Final = ("active", "paused", "disabled")
ALARM_KINDS: Final = ("position", "group")
"""What an alarm of the daily look is about."""
DELIVERY_STATES: Final = ("pending", "delivered", "dead")

# histories and what is asked of them
END_TYPES: Final = (
    "running",
    "failed",
    "removed_condition",
    "removed_preventive",
    "removed_opportunistic",
    "removed_other",
    "lost_to_follow_up",
    "unknown",
)
AttributeType = Literal["text", "number", "flag"]
ATTRIBUTE_TYPES: Final[tuple[AttributeType, ...]] = get_args(AttributeType)
"""What a free attribute of a stay may be; a name has one type."""
Basis = Literal["operating_hours", "meter", "calendar"]
BASES: Final[tuple[Basis, ...]] = get_args(Basis)
"""What an age was counted by."""
Count = Literal["by_reason", "excluded", "failed", "censored"]
COUNTS: Final[tuple[Count, ...]] = get_args(Count)
"""How removals that nobody looked at are counted."""
IntervalKind = Literal["likelihood_ratio", "log_normal"]
INTERVAL_KINDS: Final[tuple[IntervalKind, ...]] = get_args(IntervalKind)
IntervalMade = Literal["likelihood_ratio", "log_normal", "modified_likelihood_ratio"]
INTERVALS_MADE: Final[tuple[IntervalMade, ...]] = get_args(IntervalMade)
"""How the limits of an answer were made."""
DATE_WORDS: Final = (
    *("date", "time", "year", "order", "age", "fitted_at", "fitted_on", "fitted_month", "fitted_quarter"),
    *("fitted_year", "number_in_position", "installed_at"),
)
"""What is refused as a covariate: later fittings come more and more from bad positions."""
Outcome = Literal[
    "worse", "better", "differ", "misfit", "worth_it", "not_worth_it", "no_evidence", "too_few", "not_separable"
]
OUTCOMES: Final[tuple[Outcome, ...]] = get_args(Outcome)
"""What a question about lives may be answered with."""
