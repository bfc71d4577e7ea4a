"""Answers about mounting: does life depend on how it was done, and how good are the readings themselves."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from service.errors import Text
from service.findings import Source
from service.reliability.class_hazard import stay_expected
from service.reliability.factor_verdicts import FactorVerdict, factor_test, factor_verdicts
from service.reliability.group_excess import strata_of
from service.reliability.lives import Bools, Ints
from service.reliability.mounting_bins import DEVIATION_BINS, FIT_BINS, deviation_numbers, fit_numbers
from service.reliability.reading_quality import digit_preference, repeatability
from service.reliability.strata import crossed, totals
from service.reliability.window_bins import WINDOW_BINS, window_numbers
from service.store.queries import histories
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.units import NM_PER_IN, NM_PER_MM
from service.use_cases.lives.comparison import HOLM, MANTEL
from service.use_cases.lives.data import filtering, history, named_keys, shown
from service.use_cases.lives.keys import SHAFT, WINDOW
from service.use_cases.lives.population import Population, population
from service.words import CLEARANCE_READINGS

SCHOENFELD: Final = Source("schoenfeld_1981", "Schoenfeld 1981, Biometrika 68: failures that a log-rank test needs",
                           "handbook")  # fmt: skip
ISO_5725: Final = Source("iso_5725", "ISO 5725-2 and 5725-6: repeatability and its limit", "standard")
BY_SCALE: Final = ("indicator", "micrometer")  # what shows every digit
FACTORS: Final = (
    ("residual_clearance", "place of the residual clearance in its window", window_numbers, WINDOW_BINS),
    ("deviations", "deviations approved at mounting", deviation_numbers, DEVIATION_BINS),
    ("fit", "fit: the diameter of the shaft in its limits", fit_numbers, FIT_BINS),
)


def mounting_qualities(tx: Tx, query: Mapping[str, Any]) -> dict[str, Any]:
    """Return whether lives depend on where the residual clearance lay, on deviations, and on the fit."""
    numbers = (*WINDOW, *SHAFT, "deviations")
    data = history(tx, Chosen(), *named_keys(query["class_by"]), *filtering(query), numbers=numbers)
    people = population(data, query, query["class_by"])
    passed = shown(people.data, query)
    bins = [_bins(numbers_of(people.data.columns), len(names)) for _, _, numbers_of, names in FACTORS]
    tests = [
        factor_test(words, people.table, number, names)
        for (_, words, _, names), number in zip(FACTORS, bins, strict=True)
    ]
    verdicts = factor_verdicts(tests)
    items = [
        {"name": name, **_record(people, verdict, number, passed)}
        for (name, _, _, _), verdict, number in zip(FACTORS, verdicts, bins, strict=True)
    ]
    said: list[Text] = [
        *people.assumptions(query),
        f"Only stays of the same {', '.join(people.class_by)}, fitted in the same period, are compared; periods are "
        "eighths of the fittings of the site.",
    ]
    if passed is not None:
        said.append("Filters choose what is shown in bins; numbers, verdicts and family are those of the whole site.")
    return {
        "items": items,
        "family": verdicts[0].family,
        "counts": people.counts(),
        "assumptions": said,
        "sources": [MANTEL.record(), SCHOENFELD.record(), HOLM.record()],
    }


def _bins(numbers: Ints, known: int) -> Ints:
    """Return the bins, -1 where nothing is on record."""
    return np.where(numbers < known, numbers, -1)


def _record(people: Population, verdict: FactorVerdict, bins: Ints, passed: Bools | None) -> dict[str, Any]:
    """Return the wire members of a factor, with what passes the filters in each bin."""
    record = verdict.record()
    k = len(record["bins"])
    if passed is None:
        return {**record, "bins": [{**one, "shown": None} for one in record["bins"]]}
    table, rows = people.table, np.flatnonzero(bins >= 0)
    stratum = crossed(strata_of(table, ("mounting",))[rows])
    due = stay_expected(table.age_h[rows], table.entry_h[rows], table.failed[rows], stratum)
    kept = passed[rows]
    number = bins[rows][kept]
    columns = np.ones(len(number)), table.failed[rows][kept], due[kept]
    sums = [totals(number, one, k) for one in columns]
    for n, one in enumerate(record["bins"]):
        one["shown"] = {"stays": float(sums[0][n]), "observed": float(sums[1][n]), "expected": float(sums[2][n])}
    return record


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
