"""Histories as they come: few stays, odd ends, used bearings, late records, ties. No question may fail on them."""

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.words import END_TYPES
from tests.api.samples.checked import Client
from tests.api.samples.histories import sent, stay

BEGIN = datetime(2012, 1, 1, tzinfo=UTC)
DAMAGE = (None, None, "wear", "wear.abrasive", "corrosion", "undetermined", "corrosion|wear")
FILTERS = ("", "asset=A1", "role=free", "from=2014-01-01T00:00:00Z", "count=excluded", "count=failed", "count=censored")
LIVES = ("life-analysis", "life-analysis?steps=true&group_by=position", "life-analysis?group_by=damage,asset",
         "life-analysis?damage=wear&group_by=fitted_year", "life-analysis?method=modified",
         "life-analysis?interval=log_normal&group_by=window", "replacement-age?preventive_cost=1&failure_cost=5",
         "replacement-age?preventive_cost=1&failure_cost=5&method=modified&group_by=manufacturer")  # fmt: skip
OTHERS = ("recurrence", "recurrence?event=failure&damage=wear&points=all", "replacement-ranking",
          "replacement-ranking?by=asset&damage=wear&class_by=manufacturer,role", "early-failures?damage=corrosion",
          "early-failures?group_by=designation", "life-comparison?group_by=work_order,shaft",
          "life-comparison?group_by=fitted_year", "life-comparison?group_by=fitted_month&damage=wear",
          "life-comparison?group_by=installer,fitted_quarter", "life-comparison?group_by=window,fitted_year",
          "mounting-quality", "mounting-quality?damage=wear&class_by=housing",
          "life-regression?covariates=residual_clearance,fit,deviations,manufacturer,installer,role,month_of_year",
          "life-regression?covariates=housing&damage=wear", "life-change?at=2014-06-01T00:00:00Z",
          "life-change?at=2090-01-01T00:00:00Z&damage=wear", "replacement-forecast?months=1")  # fmt: skip


def odd_stays(seed: int) -> list[dict[str, Any]]:
    chance, stays = random.Random(seed), []
    for n in range(chance.randrange(1, 5)):
        at = BEGIN + timedelta(days=chance.randrange(900))
        for k in range(chance.randrange(1, 12)):
            end = at + timedelta(hours=chance.choice((1, 500, 500, 3000, chance.randrange(1, 20_000))))
            end_type = chance.choice((*END_TYPES, "failed", "failed", "failed"))
            carried, late = chance.choice((None, None, 0, 700)), chance.choice((0, 250))
            one = {
                "asset": f"A{n % 2}", "position": f"p{n}", "designation": chance.choice(("22216 K/C3", "1310 K")),
                "installed_at": at.isoformat(), "removed_at": end.isoformat(), "end_type": end_type,
                "inspected": chance.choice((None, True, False)),
                "damage": None if end_type == "running" else chance.choice(DAMAGE),
                "age_at_install_h": carried, "installed_by": chance.choice((None, "crew 1", "crew 2")),
                "manufacturer": chance.choice((None, "Maker A", "Maker B")),
                "work_order": chance.choice((None, "W1", "W2")),
                "observed_from": chance.choice((None, None, (at + timedelta(hours=late)).isoformat())),
                "residual_clearance_mm": chance.choice((None, 0.05, 0.06, 0.09)), "window_min_mm": 0.055,
                "window_max_mm": chance.choice((0.055, 0.08)),
            }  # fmt: skip
            if end_type == "running":
                one |= {"removed_at": None, "as_of": chance.choice((None, end.isoformat()))}
            if one["observed_from"] is not None and one["observed_from"] >= end.isoformat():
                one["observed_from"] = None
            stays.append(stay(f"S-{n}-{k}", **one))
            if end_type == "running":
                break
            at = end
    return stays


@pytest.mark.parametrize("seed", range(8))
def test_every_question_is_answered_or_refused_with_a_reason(client: Client, seed: int) -> None:
    """The client holds every answer against the contract; a fault of ours would be a 500."""
    answer = sent(client, *odd_stays(seed))
    assert answer.status_code == 200, answer.json
    chosen = FILTERS[seed % len(FILTERS)]
    position = client.get("/v1/assets").json["items"][0]["shafts"][0]["positions"][0]["id"]
    for path in (*LIVES, *OTHERS, f"positions/{position}/recurrence"):
        query = chosen if "positions/" not in path and "count" not in path else ""
        found = client.get(f"/v1/{path}{'&' if '?' in path else '?'}{query}".rstrip("?&"))
        assert found.status_code in (200, 422), (path, found.text)
        if found.status_code == 422:
            assert found.json["code"] in ("no_lives", "unknown_interval"), (path, found.json)
    for path in ("recurrence", "replacement-ranking", "replacement-forecast"):
        picture = client.get(f"/v1/{path}", headers={"Accept": "image/svg+xml"})
        assert picture.status_code in (200, 422) and "nan" not in picture.text
