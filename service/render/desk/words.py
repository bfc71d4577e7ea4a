"""How the pages of the desk write times, hours, numbers and the words of closed lists."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from service.units import Quantity

NONE: Final = "–"
END_WORDS: Final = {
    "running": "running",
    "failed": "failed in service",
    "removed_condition": "removed for its condition",
    "removed_preventive": "removed by plan",
    "removed_opportunistic": "removed with the occasion",
    "removed_other": "removed for another reason",
    "lost_to_follow_up": "lost from view",
    "unknown": "not known",
}

FLAG_WORDS: Final = {
    "time_before_predecessor": "Taken before a hold that stands before it",
    "signed_in_one_go": "Three or more holds signed within a minute",
    "completed_before_reading": "Completed before a reading was taken",
    "work_begun_unreleased": "Work begun before the release",
}


def day(given: str | datetime | None) -> str:
    """Return the day of a moment."""
    if given is None:
        return NONE
    return f"{given:%Y-%m-%d}" if isinstance(given, datetime) else given[:10]


def minute(given: str | datetime | None) -> str:
    """Return a moment to the minute, in UTC."""
    if given is None:
        return NONE
    return f"{given:%Y-%m-%d %H:%M} UTC" if isinstance(given, datetime) else f"{given[:10]} {given[11:16]} UTC"


def hours(given: float | dict[str, Any] | None) -> str:
    """Return hours, whole; of a presented quantity its value."""
    if given is None:
        return NONE
    value = given["value"] if isinstance(given, dict) else given
    return f"{value:,.0f}\u00a0h"


def plain(given: float | None) -> str:
    """Return a number with three digits that count, none of them noise."""
    if given is None:
        return NONE
    if given == round(given) or abs(given) >= 1000:
        return f"{given:,.0f}"
    return f"{given:.3g}"


def count(given: float | None) -> str:
    """Return a number of things; shares of them with one decimal."""
    if given is None:
        return NONE
    return f"{given:,.0f}" if abs(given - round(given)) < 0.005 else f"{given:,.1f}"


def chance(given: float | None) -> str:
    """Return a probability."""
    if given is None:
        return NONE
    return "< 0.0001" if given < 0.0001 else f"{given:.2g}"


def worded(code: str | None) -> str:
    """Return a word of a closed list as people write it."""
    if not code:
        return NONE
    return END_WORDS.get(code) or code.replace("|", "; ").replace(".", ", ").replace("_", " ")


def flag_said(code: str) -> str:
    """Return what a flag of an order says."""
    return FLAG_WORDS.get(code) or worded(code)


def pairs(choices: Iterable[str]) -> list[tuple[str, str]]:
    """Return the words of a list, each with how people write it."""
    return [(each, END_WORDS.get(each) or each.replace("_", " ")) for each in choices]


def in_words(given: Any) -> Any:
    """Return what was found as a text: words of a closed list, quantities, lists and members of members."""
    if isinstance(given, Quantity):
        return (given,)
    if isinstance(given, bool):
        return "yes" if given else "no"
    if isinstance(given, Mapping):
        parts = [((f"{worded(str(name))} ",), in_words(value)) for name, value in given.items()]
        return _joined([(*label, *_parts(value)) for label, value in parts])
    if isinstance(given, list | tuple) and not (given and isinstance(given, tuple)):
        return _joined([_parts(in_words(each)) for each in given]) if given else "none"
    return given if isinstance(given, tuple) else worded(str(given))


def _parts(text: Any) -> tuple[Any, ...]:
    return (text,) if isinstance(text, str) else tuple(text)


def _joined(texts: Sequence[tuple[Any, ...]]) -> tuple[Any, ...]:
    joined: list[Any] = []
    for number, each in enumerate(texts):
        joined += [", ", *each] if number else each
    return tuple(joined)


FILTERS: Final = {
    "day": day,
    "minute": minute,
    "hours": hours,
    "plain": plain,
    "count_of": count,
    "chance": chance,
    "worded": worded,
    "flag_said": flag_said,
    "pairs": pairs,
    "in_words": in_words,
}
