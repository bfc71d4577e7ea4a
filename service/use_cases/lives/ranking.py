"""Which positions, or machines, fail more often than their class explains: flags, spread, ratios after shrinkage."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from service.errors import Text
from service.findings import Source
from service.reliability.lives import Floats, Ints
from service.reliability.place_excess import PlaceExcess, place_excess
from service.store.queries.histories import Place
from service.store.queries.stay_lists import Chosen
from service.store.transaction import Tx
from service.use_cases.lives.comparison import GARWOOD, HOLM
from service.use_cases.lives.data import filtering, history, named_keys, shown
from service.use_cases.lives.population import Population, population

GAVER: Final = Source("gaver_1987", "Gaver & O'Muircheartaigh 1987, Technometrics 29; George, Makov & Smith 1993: "
                      "gamma-Poisson shrinkage", "handbook")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ranking:
    """The places of a site with their failures, seen and expected; ``rows`` are shown, the surest excess first."""

    by: str
    people: Population
    found: PlaceExcess
    labels: list[str]
    rows: Ints
    rank: Ints
    level: float
    times_class: float
    filtered: bool
    query: Mapping[str, Any]

    @property
    def shrunk(self) -> dict[str, Floats]:
        """Return mean, limits and probability above of the ratios after shrinkage; empty when nothing has failed."""
        return self.found.shrunk(self.level, self.times_class)

    def record(self) -> dict[str, Any]:
        """Return the wire members, quantities still unit-neutral."""
        found = self.found
        classes = ", ".join(self.people.class_by)
        said: list[Text] = [
            *self.people.assumptions(self.query),
            f"A class is what has the same {classes}. Expected: the cumulative hazard of the class, no fit.",
        ]
        if self.filtered:
            said.append("Filters choose what is shown; numbers, verdicts and family are those of the whole site.")
        return {
            "by": self.by,
            **found.verdict(self.labels).record(),
            "family": found.excess.family,
            "groups": len(self.labels),
            "spread": {**found.spread_verdict.record(), "statistic": found.spread.statistic},
            "items": self._items(),
            "counts": self.people.counts(),
            "level": self.level,
            "times_class": self.times_class,
            "assumptions": said,
            "sources": [source.record() for source in (GAVER, GARWOOD, HOLM)],
        }

    def _items(self) -> list[dict[str, Any]]:
        shrunk, items = self.shrunk, self.found.items(self.rows, self.labels, self.level)
        for row, item in zip(self.rows.tolist(), items, strict=True):
            place = self._place(row)
            ratio = {name: float(shrunk[name][row]) for name in ("estimate", "lower", "upper")} if shrunk else None
            item |= {
                "rank": int(self.rank[row]),
                "position_id": None if place is None else place.id,
                "asset": self.labels[row] if place is None else place.asset,
                "position": None if place is None else place.name,
                "shrunk_ratio": ratio,
                "probability_above": float(shrunk["probability_above"][row]) if shrunk else None,
            }
        return items

    def _place(self, row: int) -> Place | None:
        return None if self.by == "asset" else self.people.data.places[int(self.found.place[row])]


def ranking_of(tx: Tx, query: Mapping[str, Any]) -> Ranking:
    """Return the ranking of the positions, or machines, of the site."""
    data = history(tx, Chosen(), *named_keys(query["class_by"]), *filtering(query))
    people = population(data, query, query["class_by"])
    by_asset = query["by"] == "asset"
    number = people.table.asset if by_asset else people.table.position
    found = place_excess(people.table, number, "machine" if by_asset else "position")
    names = people.assets if by_asset else [place.label for place in people.data.places]
    labels = [names[int(one)] for one in found.place]
    order = found.excess.order()
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(1, len(order) + 1)
    passed = shown(people.data, query)
    if passed is not None:
        seen = np.unique(number[passed])
        order = order[np.isin(found.place[order], seen)]
    return Ranking(
        query["by"], people, found, labels, order[: query["top"]], rank, query["level"], query["times_class"],
        passed is not None, query,
    )  # fmt: skip
