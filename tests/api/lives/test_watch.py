"""The daily look: one bad position, one bad crew, and a plant on which nothing differs; each told once.

The plants are invented: lives are drawn from an exponential law, the bad ones at a sixth of the mean. That such plants
are flagged, and how often others are, is held by tests/verdicts.
"""

import random
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import sqlalchemy as sa
from flask import Flask

from service.store import models
from service.store.queries.sites import site_by_code
from service.store.unit_of_work import Tx, Written
from service.use_cases.lives.watch import Watched, watch
from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, stay

BEGIN = datetime(2015, 1, 1, tzinfo=UTC)
CREWS = tuple(f"crew {n}" for n in range(1, 6))
PREFIX = "internal.capsaddle."


def plant(*, bad_position: bool = False, bad_crew: bool = False, seed: int = 7) -> list[dict[str, Any]]:
    """Thirty machines with one bearing each, ten lives one after another; all were taken out failed."""
    chance = random.Random(seed)
    found = []
    for machine in range(30):
        at = BEGIN + timedelta(days=chance.randrange(60))
        slow = bad_position and machine == 17
        for number in range(40 if slow else 10):
            crew = chance.choice(CREWS)
            bad = slow or (bad_crew and crew == "crew 5")
            end = at + timedelta(hours=1 + chance.expovariate(1 / (500 if bad else 3_000)))
            dates = {"installed_at": at.isoformat(), "removed_at": end.isoformat()}
            found.append(stay(f"{machine}-{number}", asset=f"FAN-{machine:02d}", installed_by=crew, **dates))
            at = end
    return found


def flagged(client: Client) -> list[dict[str, Any]]:
    events = client.get("/v1/events?limit=500").json["items"]
    return [one for one in events if one["type"].endswith(".flagged")]


def look(app: Flask) -> Watched:
    (found,) = [one for one in watch(app.extensions["capsaddle"].database) if one.site_code == "ALDER"]
    return found


def forgotten(app: Flask, tag: str) -> None:
    """Take the stays of a machine off the record, as no request can."""
    database = app.extensions["capsaddle"].database
    site = site_by_code(database, "ALDER")

    def work(tx: Tx) -> Written:
        asset, position, one = models.Asset, models.Position, models.Stay
        of_asset = sa.select(asset.id).where(asset.site_id == tx.site_id, asset.tag == tag)
        places = sa.select(position.id).where(position.asset_id.in_(of_asset))
        tx.connection.execute(sa.delete(one).where(one.site_id == tx.site_id, one.position_id.in_(places)))
        return Written(200, "")

    database.write(site_id=site.id, actor="tester", request_id="test", work=work)


def test_one_bad_position_is_told_once_until_it_ends_and_comes_again(client_on_each: Client) -> None:
    client, app = client_on_each, client_on_each.app
    stays = plant(bad_position=True)
    imported(client, *stays)
    first = look(app)
    assert (first.told, first.standing) == (1, {"position": 1, "group": 0})
    (event,) = flagged(client)
    told = event["data"]["changed"]
    assert event["type"] == f"{PREFIX}position.flagged"
    assert (told["asset"], told["position"], told["verdict"]) == ("FAN-17", "tail", "worse")
    assert told["observed"] == 40 and told["adjusted_p"] <= 0.005
    assert event["data"]["link"].endswith("/recurrence")
    assert client.get(event["data"]["link"]).status_code == 200
    (item,) = [one for one in client.get("/v1/replacement-ranking?top=1").json["items"] if one["flagged"]]
    assert (item["adjusted_p"], item["expected"]) == (told["adjusted_p"], told["expected"])
    again = look(app)
    assert (again.told, again.standing["position"], len(flagged(client))) == (0, 1, 1)
    forgotten(app, "FAN-17")
    ended = look(app)
    assert (ended.told, ended.ended, ended.standing["position"], len(flagged(client))) == (0, 1, 0, 1)
    imported(client, *(one for one in stays if one["asset"] == "FAN-17"))
    assert (look(app).told, len(flagged(client))) == (1, 2)


def test_one_bad_crew_is_told_as_a_group(client: Client) -> None:
    imported(client, *plant(bad_crew=True))
    look(client.app)
    groups = [one for one in flagged(client) if one["type"] == f"{PREFIX}group.flagged"]
    assert [one["subject"] for one in groups] == ["group/installer=crew 5"]
    told = groups[0]["data"]["changed"]
    assert told["observed"] > told["expected"] and told["question"] == "life-comparison?group_by=installer"
    (item,) = client.get("/v1/life-comparison?group_by=installer&installer=crew 5").json["items"]
    assert (item["observed"], item["adjusted_p"]) == (told["observed"], told["adjusted_p"])
    assert "because" not in told["detail"]


def test_nothing_is_told_where_nothing_differs_and_where_nothing_is_on_record(client: Client) -> None:
    assert look(client.app).told == 0
    imported(client, *plant())
    assert look(client.app).told == 0
    assert flagged(client) == []


def test_an_alarm_waits_for_more_than_a_question_does(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 0.05 a question answers; what lies between 0.05 and 0.005 is no alarm, and ends none that stands."""
    from service.use_cases.lives import watch as module

    imported(client, *plant(bad_position=True))
    monkeypatch.setattr(module, "ALARM_LEVEL", 0.0)
    assert (look(client.app).told, flagged(client)) == (0, [])
    monkeypatch.setattr(module, "ALARM_LEVEL", 0.005)
    assert look(client.app).told == 1
    monkeypatch.setattr(module, "ALARM_LEVEL", 0.0)
    still = look(client.app)
    assert (still.told, still.ended, still.standing["position"]) == (0, 0, 1)


def test_subscriptions_hear_of_it(client: Client) -> None:
    named = client.get("/openapi.json").text
    assert "position.flagged" in named and "group.flagged" in named
