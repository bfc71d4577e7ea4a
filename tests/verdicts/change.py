"""Is a change said at a date at which nothing changed? And is a true change found?"""

from typing import Any

import numpy as np
from scipy.special import gamma

from service.reliability.change_at_date import ChangeAtDate, ageing_after_date, change_at_date
from tests.verdicts.invented_renewals import Renewals, renewals

QUESTION = "change at a date"
DATE = 0.5  # of the watch
# positions, shape, watch, sigma of positions; each side at most 0.05 (nominal 0.025, one cell of an independent
# simulation 0.07)
NULL = tuple(
    (positions, shape, watch, sigma)
    for positions, watch in ((50, 3.0), (200, 1.5))
    for shape in (1.0, 2.0, 3.0)
    for sigma in (0.0, 0.5)
)
# rate x 0.4 after the middle of the watch: positions, shape, watch, share found in an independent simulation
POWER = (
    (200, 1.0, 3.0, 0.92),
    (200, 2.0, 3.0, 0.90),
    (200, 3.0, 3.0, 0.95),
    (200, 1.0, 1.5, 0.36),
    (50, 2.0, 3.0, 0.32),
)

AGEING = ((1.0, 0.4), (1.0, 1.0), (2.0, 1.0), (1.0, 2.0))  # shape, rate after


def claims(plants: int, seed: int) -> list[dict[str, Any]]:
    """Return the share of plants on which "worse" and "better" are said, nothing changing and the rate falling."""
    rng = np.random.default_rng(seed)
    found = []
    for positions, shape, watch, sigma in NULL:
        said = [
            _said(_asked(renewals(rng, positions=positions, shape=shape, watch=watch, sigma=sigma)))
            for _ in range(plants)
        ]
        setting = f"{positions} positions, shape {shape:g}, watched {watch:g} lives, sigma {sigma:g}"
        for word in ("worse", "better"):
            found.append(
                _row(f"{word} is said, nothing changed", setting, plants, said.count(word) / plants, 0.0, 0.05)
            )
    for positions, shape, watch, share in POWER:
        said = [_said(_asked(changed(rng, positions, shape, watch))) for _ in range(plants)]
        setting = f"{positions} positions, shape {shape:g}, watched {watch:g} lives, rate x 0.4"
        # within 0.12 of the other simulation: its plants were not watched in quite the same way
        row = _row(
            "better is said", setting, plants, said.count("better") / plants, share - 0.12, min(share + 0.12, 1.0)
        )
        found.append(row)
    for shape, rate in AGEING:
        held = sum(_holds(rng, shape, rate) for _ in range(plants))
        setting = f"200 positions, shape {shape:g}, watched 3 lives, rate x {rate:g}"
        # nominal 0.95; with wear a bearing that passes the date is not quite one that ages at another pace
        found.append(_row("limits of the factor of ageing hold it", setting, plants, held / plants, 0.88, 1.0))
    return found


def _holds(rng: np.random.Generator, shape: float, rate: float) -> bool:
    plant = changed(rng, 200, shape, 3.0, rate)
    zero = np.zeros(len(plant.age))
    found = ageing_after_date(
        date_h=DATE * plant.now, begin_h=plant.begin, end_h=plant.end, age_h=plant.age, entry_h=zero, carried_h=zero,
        failed=plant.failed, running=plant.running, position=plant.position, class_number=zero.astype(int), orders=99,
    )  # fmt: skip
    truth = rate ** (1 / shape)
    return (found.lower or 0.0) <= truth <= (found.upper or np.inf)


def changed(rng: np.random.Generator, positions: int, shape: float, watch: float, rate: float = 0.4) -> Renewals:
    """Return a plant on which the hazard of all bearings, running ones too, is multiplied in the middle of the watch.

    The hazard beyond the date counts ``rate`` times: a life that would pass the date is drawn on.
    """
    rows, scale = [], 1 / gamma(1 + 1 / shape)
    begin, place, date = rng.uniform(0, watch / 2, positions), np.arange(positions), DATE * watch
    while len(place):
        need = rng.exponential(size=len(place))
        at_date = np.where(begin < date, (np.maximum(date - begin, 0) / scale) ** shape, 0.0)
        early = at_date >= need
        late = scale * (at_date + np.maximum(need - at_date, 0) / rate) ** (1 / shape)
        life = np.where(early, scale * need ** (1 / shape), late)
        end = begin + life
        rows.append((place, begin, np.minimum(end, watch), end > watch))
        go = end <= watch
        place, begin = place[go], end[go]
    columns = [np.concatenate([row[k] for row in rows]) for k in range(4)]
    order = np.lexsort((columns[1], columns[0]))
    position, begin, end, running = (column[order] for column in columns)
    return Renewals(position, begin, end, end - begin, ~running, running, watch)


def _asked(plant: Renewals) -> ChangeAtDate:
    zero = np.zeros(len(plant.age))
    return change_at_date(
        date_h=DATE * plant.now, begin_h=plant.begin, end_h=plant.end, age_h=plant.age, entry_h=zero, carried_h=zero,
        failed=plant.failed, running=plant.running, position=plant.position, class_number=zero.astype(int), orders=199,
    )  # fmt: skip


def _said(one: ChangeAtDate) -> str:
    return one.verdict(one.p_value)


def _row(claim: str, setting: str, plants: int, share: float, least: float, most: float) -> dict[str, Any]:
    return {"question": QUESTION, "claim": claim, "setting": setting, "plants": plants, "share": float(share),
            "least": least, "most": most}  # fmt: skip
