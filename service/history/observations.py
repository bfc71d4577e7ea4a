"""From stays to observations: which lives failed, which are censored, which are left out and why (rule H1)."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final, Literal

from service.errors import Text
from service.history.ages import Age
from service.history.damage import UNDETERMINED, damage_codes, falls_under
from service.history.stays import Stay
from service.units import Quantity
from service.words import Count

Status = Literal["failed", "censored", "not_inspected", "end_unknown", "damage_not_recorded"]
LIVES: Final = ("failed", "censored")
REASONS: Final = {
    "not_inspected": "removed, and nobody looked whether it was damaged",
    "end_unknown": "nobody knows why it was removed",
    "damage_not_recorded": "failed, but the damage that the filter asks about was not recorded",
    "no_age": "no time passed between fitting and the end of observation",
    "not_observed": "it ended before observation began",
}
COUNTED: Final = {
    "excluded": "Bearings removed without inspection are left out.",
    "failed": "Bearings removed without inspection are counted as failed.",
    "censored": "Bearings removed without inspection are counted as sound (censored).",
}
BASES: Final = {
    "operating_hours": "operating hours entered with the stay",
    "meter": "the hour meter of the asset",
    "calendar": "calendar time times duty",
}


@lru_cache(maxsize=65536)
def status(
    end_type: str,
    inspected: bool | None,
    damage: str | None,
    count: Count = "excluded",
    damage_filter: str | None = None,
) -> Status:
    """Return what a stay counts as: failed, censored, or the reason to leave it out.

    Failed in service, or damage seen at removal: failed. Running, lost sight of, or removed undamaged: censored. With
    a filter, failures that show other damage are censored: the wanted one had not come by then. A code of
    ``undetermined`` is no damage seen.

    Parameters
    ----------
    end_type : str
        How the stay ended.
    inspected : bool or None
        Somebody looked at the bearing after removal.
    damage : str or None
        Codes with ``|`` between them.
    count : str
        How removals without inspection are counted.
    damage_filter : str, optional
        The mode of damage asked about; its submodes belong to it.

    Source
    ------
    Rule H1. Modes: ISO 15243.
    """
    seen = tuple(code for code in damage_codes(damage or "") if code != UNDETERMINED)
    if end_type in ("running", "lost_to_follow_up"):
        return "censored"
    if end_type == "failed" or seen:
        return _filtered(seen, damage_filter)
    if end_type == "unknown":
        return "end_unknown"
    if inspected and UNDETERMINED not in damage_codes(damage or ""):
        return "censored"
    if count == "failed":
        return _filtered(seen, damage_filter)
    return "censored" if count == "censored" else "not_inspected"


@dataclass(slots=True)
class Observations:
    """Lives in columns, in the order in which the stays came, and the account of those left out.

    Attributes
    ----------
    label : list of str
        Group of each life.
    time_h, entry_h : list of float
        Age at the end and at the beginning of observation, [h]
    failed : list of bool
        False: censored.
    excluded : dict
        Number left out by group and reason.
    """

    label: list[str] = field(default_factory=list)
    time_h: list[float] = field(default_factory=list)
    entry_h: list[float] = field(default_factory=list)
    failed: list[bool] = field(default_factory=list)
    stays: Counter[str] = field(default_factory=Counter)
    excluded: dict[str, Counter[str]] = field(default_factory=dict)
    bases: Counter[str] = field(default_factory=Counter)
    ended: Counter[str] = field(default_factory=Counter)
    removed_on_condition: Counter[str] = field(default_factory=Counter)
    designations: dict[str, set[str]] = field(default_factory=dict)
    count: Count = "excluded"
    damage_filter: str | None = None

    def add(self, label: str, stay: Stay, age: Age) -> None:
        """Take a stay of a group into the account, and into the lives when it is one."""
        self.stays[label] += 1
        found: str = status(stay.end_type, stay.inspected, stay.damage, self.count, self.damage_filter)
        if found in LIVES and not age.age_h > 0:
            found = "no_age"
        elif found in LIVES and age.entry_h >= age.age_h:
            found = "not_observed"
        if found not in LIVES:
            self.excluded.setdefault(label, Counter())[found] += 1
            return
        self.label.append(label)
        self.time_h.append(age.age_h)
        self.entry_h.append(age.entry_h)
        self.failed.append(found == "failed")
        self.bases[age.basis] += 1
        self.designations.setdefault(label, set()).add(stay.designation)
        if stay.end_type != "running":
            self.ended[label] += 1
            self.removed_on_condition[label] += stay.end_type == "removed_condition"

    def condition_share(self, label: str) -> float:
        """Return the share of ended lives that were removed on condition, [-]."""
        return self.removed_on_condition[label] / self.ended[label] if self.ended[label] else 0.0

    def excluded_records(self, label: str) -> list[dict[str, Any]]:
        """Return the wire members of what was left out of a group."""
        reasons = self.excluded.get(label, Counter())
        return [{"reason": one, "detail": REASONS[one], "count": reasons[one]} for one in REASONS if reasons[one]]

    def assumptions(self, *, duty: float = 1.0) -> list[Text]:
        """Return the sentences that say how stays were read."""
        late = sum(entry > 0 for entry in self.entry_h)
        duties = (duty,) if self.bases["calendar"] else ()
        return assumptions(self.bases, late, count=self.count, damage_filter=self.damage_filter, duties=duties)


def assumptions(
    bases: Mapping[str, int], late: int, *, count: Count, damage_filter: str | None, duties: Collection[float]
) -> list[Text]:
    """Return the sentences that say how stays were read.

    Parameters
    ----------
    bases : dict of int
        Lives by where their age comes from, [-]
    late : int
        Lives that came under observation at an age above zero, [-]
    duties : collection of float
        Every share of calendar time that an age was computed with, [-]
    """
    said: list[Text] = [COUNTED[count]]
    said += [f"Age of {bases[basis]} from {words}." for basis, words in BASES.items() if bases.get(basis)]
    if bases.get("calendar"):
        least, most = min(duties), max(duties)
        said.append(f"Duty {least:g} of calendar time." if least == most else f"Duty {least:g} to {most:g}.")
    if damage_filter:
        said.append(f"Failures with other damage than {damage_filter} are censored.")
    if late:
        said.append(f"{late} came under observation at an age above zero; honoured as late entry.")
    return said


def observations(
    stays: Iterable[tuple[str, Stay, Age]], *, count: Count = "excluded", damage_filter: str | None = None
) -> Observations:
    """Return the observations of stays with their groups and ages.

    Parameters
    ----------
    stays : iterable of (label, Stay, Age)
        The stays; read once, nothing of them is kept.
    count : str
        How removals without inspection are counted.
    damage_filter : str, optional
        The mode of damage asked about.
    """
    found = Observations(count=count, damage_filter=damage_filter)
    for label, stay, age in stays:
        found.add(label, stay, age)
    return found


def replacements(stays: Iterable[Stay]) -> list[tuple[Stay, Stay]]:
    """Return the pairs (removed, fitted after it in the same position): replacements, which are not failures."""
    by_place: dict[tuple[str, str], list[Stay]] = {}
    for stay in stays:
        by_place.setdefault(stay.place, []).append(stay)
    pairs = []
    for of_place in by_place.values():
        of_place.sort(key=lambda one: one.installed_at)
        pairs += [(a, b) for a, b in pairwise(of_place) if a.removed_at is not None]
    return sorted(pairs, key=lambda pair: pair[1].installed_at)


def time_between_replacements(exposure_h: float, number: int) -> Quantity | None:
    """Return the mean time between replacements, exposure over replacements, [h]; None without any."""
    return Quantity("time", exposure_h / number) if number else None


def _filtered(seen: tuple[str, ...], damage_filter: str | None) -> Status:
    if damage_filter is None:
        return "failed"
    if not seen:
        return "damage_not_recorded"
    return "failed" if any(falls_under(code, damage_filter) for code in seen) else "censored"
