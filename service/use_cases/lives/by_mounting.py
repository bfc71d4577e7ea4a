"""Answers about mounting: does life depend on how it was done, and how good are the readings themselves."""

from collections.abc import Mapping
from typing import Any, Final

from service.errors import CannotEvaluate, Text
from service.findings import Source
from service.reliability.mounting_bins import DEVIATION_BINS, FIT_BINS, deviation_numbers, fit_numbers
from service.reliability.mounting_quality import WINDOW_BINS, mounting_quality
from service.reliability.observed import Observed
from service.reliability.reading_quality import digit_preference, repeatability
from service.reliability.window_bins import window_numbers
from service.store.queries import histories
from service.store.transaction import Tx
from service.units import NM_PER_IN, NM_PER_MM
from service.use_cases.lives.data import History, asked_about, grouped, history
from service.words import CLEARANCE_READINGS

MOST_STEPS: Final = 500_000_000  # stays times failures
SCHOENFELD: Final = Source("schoenfeld_1983", "Schoenfeld 1983, Biometrics 39: failures that a log-rank test needs",
                           "handbook")  # fmt: skip
MANTEL: Final = Source("mantel_1966", "Mantel 1966; Kalbfleisch & Prentice: stratified log-rank test", "handbook")
ISO_5725: Final = Source("iso_5725", "ISO 5725-2 and 5725-6: repeatability and its limit", "standard")
NUMBERS: Final = (
    "residual_nm",
    "window_min_nm",
    "window_max_nm",
    "deviations",
    "shaft_nm",
    "shaft_min_nm",
    "shaft_max_nm",
)
BY_SCALE: Final = ("indicator", "micrometer")  # what shows every digit


def mounting_qualities(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return whether lives depend on where the residual clearance lay, on deviations, and on the fit."""
    data = history(tx, asked_about(query), numbers=NUMBERS, words=("role", "housing"))
    factors = (
        ("place of the residual clearance in its window", "residual_clearance", window_numbers, WINDOW_BINS),
        ("deviations approved at mounting", "deviations", deviation_numbers, DEVIATION_BINS),
        ("fit: the diameter of the shaft in its limits", "fit", fit_numbers, FIT_BINS),
    )
    items: list[dict[str, Any]] = []
    said: list[Text] = []
    for words, name, numbers_of, bins in factors:
        numbers = numbers_of(data.columns)
        some = data.of_rows((numbers < len(bins)).nonzero()[0])
        item, found = _factor(some, query, words, numbers[numbers < len(bins)], bins)
        items.append({"name": name, **item})
        said = said or ([] if found is None else some.assumptions(found, count=query["count"], damage=_damage(query)))
    said.append(f"Only stays of the same {', '.join(query['stratify_by'])} are compared.")
    return {"items": items, "assumptions": said, "sources": [MANTEL.record(), SCHOENFELD.record()]}


def _damage(query: Mapping[str, Any]) -> str | None:
    return query.get("damage")


def _factor(
    data: History, query: Mapping[str, Any], words: str, numbers: Any, bins: tuple[str, ...]
) -> tuple[dict[str, Any], Observed | None]:
    found = data.observed(grouped(data, query["stratify_by"]), count=query["count"], damage=_damage(query))
    if found.data is None:
        return _nothing(words, bins), None
    failures = int(found.data.failed.sum())
    if failures * len(found.row) > MOST_STEPS:
        said = f"{len(found.row)} stays with {failures} failures are too many for one answer; choose fewer"
        raise CannotEvaluate(said, code="too_much_data")
    return mounting_quality(words, found.data, numbers[found.row], bins).record(), found


def _nothing(words: str, bins: tuple[str, ...]) -> dict[str, Any]:
    """Return the item of a factor of which nothing is on record."""
    zero = {"stays": 0.0, "observed": 0.0, "expected": 0.0}
    return {
        "factor": words,
        "bins": [{"bin": name, **zero} for name in bins],
        "verdict": "not_enough_data",
        "log_rank": None,
        "trend": None,
        "failures_needed": None,
        "detail": f"Not enough data on {words}: no stay has it on record.",
    }


def reading_quality(tx: Tx, query: Mapping[str, Any], units: str) -> dict[str, Any]:
    """Return how evenly last digits are spread and how well repeats agree, of the clearances that were read."""
    begin, end = query.get("from_"), query.get("to")
    where = {"asset": query.get("asset"), "position": query.get("position"), "begin": begin, "end": end}
    values: list[int] = []
    repeats: dict[tuple[Any, ...], list[int]] = {}
    read = blades = 0
    for kind in (query["kind"],) if "kind" in query else CLEARANCE_READINGS:
        for document in histories.reading_documents(tx, kind=kind, **where):
            read += 1
            by_scale = document.get("method") in BY_SCALE
            blades += document.get("method") in (None, "blades")
            for value in document["values"]:
                value_nm = round(value["value"].value)
                if by_scale:
                    values.append(value_nm)
                if value.get("repeat") is not None:
                    key = (read, value.get("row"), value.get("point"))
                    repeats.setdefault(key, []).append(value_nm)
    step_nm = round(NM_PER_IN / 10_000) if units == "inch" else round(NM_PER_MM / 1_000)
    if "step_um" in query:
        step_nm = round(query["step_um"] * 1_000)
    return {
        "readings": read,
        "read_with_blades": blades,
        "digit_preference": digit_preference(values, step_nm).record(),
        "repeatability": repeatability(list(repeats.values())).record(),
        "assumptions": [
            f"Last digit of {step_nm / 1000:g} um. Feeler blades come in sizes of their own: their readings, and those "
            "without a method, are left out of the digits.",
        ],
        "sources": [ISO_5725.record()],
    }
