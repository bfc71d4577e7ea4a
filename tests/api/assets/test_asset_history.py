"""The history of a machine, as records and as a page that an engineer looks at."""

import re
from itertools import pairwise
from urllib.parse import quote

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay
from tests.api.samples.orders import completion, opened, ready_to_complete
from tests.unit.render.card_readers import Page

SCRIPT = "<script>alert('x')</script>"


def asset_id(client: Client, tag: str = "DRY-2-FAN") -> str:
    found: str = client.get(f"/v1/assets?tag={tag}").json["items"][0]["id"]
    return found


def with_history(client: Client) -> str:
    """A fan with two failed bearings in one position, one of them worn, and bearings that run."""
    imported(
        client,
        stay("S-1", damage="wear.abrasive", cause="sealing", initial_clearance_mm=0.102, residual_clearance_mm=0.061,
             window_min_mm=0.0508, window_max_mm=0.0635),
        stay("S-2", installed_at="2023-09-12T10:00:00Z", removed_at="2024-05-01T10:00:00Z"),
        running("S-3", installed_at="2024-05-01T14:00:00Z"),
        running("S-4", position="drive"),
    )  # fmt: skip
    return asset_id(client)


def test_stays_stand_under_their_position_in_the_order_of_fitting(client_on_each: Client) -> None:
    answer = client_on_each.get(f"/v1/assets/{with_history(client_on_each)}/history")
    assert answer.status_code == 200
    found = {each["position"]: [one["external_id"] for one in each["stays"]] for each in answer.json["positions"]}
    assert found == {"tail": ["S-1", "S-2", "S-3"], "drive": ["S-4"]}
    listed = {one["external_id"]: one for one in client_on_each.get("/v1/stays").json["items"]}
    assert answer.json["positions"][0]["stays"][0] == listed["S-1"]
    assert answer.json["more"] is None


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_the_page_says_what_the_records_say(client: Client, units: str) -> None:
    path = f"/v1/assets/{with_history(client)}/history?units={units}"
    answer = client.get(path, headers={"Accept": "text/html"})
    page = Page(answer.text)
    assert page.faults == [] and not page.all("script")
    both = {"inch": "0.0024 in (0.061 mm)", "metric": "0.061 mm (0.0024 in)"}  # 0.061 mm / 25.4
    window = {
        "inch": "0.0020 in (0.051 mm) to 0.0025 in (0.064 mm)",
        "metric": "0.051 mm (0.0020 in) to 0.064 mm (0.0025 in)",
    }
    assert f"residual clearance{both[units]}; to be left: {window[units]}" in page.text
    for said in (
        "22216 K/C3, 2022-03-04 to 2023-09-12: failed in service",
        "wear, abrasive",
        "sealing",
        "to today: running",
    ):
        assert said in page.text
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))


def test_the_time_line_has_a_bar_for_each_stay_and_marks_what_failed(client: Client) -> None:
    html = client.get(f"/v1/assets/{with_history(client)}/history", headers={"Accept": "text/html"}).text
    timeline = html[html.index("timeline-title") : html.index("</svg>")]
    assert timeline.count('data-part="stay-failed"') == 2 and timeline.count('data-part="stay-running"') == 2
    assert timeline.count('data-part="failed"') == 4, "two strokes of each cross"
    bars = re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)"[^>]*data-part="stay-', timeline)
    tail = [(float(x), float(width)) for x, y, width in bars if y == bars[0][1]]
    assert len(tail) == 3
    for (x, width), (following, _) in pairwise(tail):
        assert x + width <= following + 0.1, "one bearing after the other"
    days = [557.0, 232.0]  # 2022-03-04 to 2023-09-12, 2023-09-12 to 2024-05-01, by the calendar
    assert tail[0][1] / tail[1][1] == pytest.approx(days[0] / days[1], rel=0.01)


def test_lives_and_ranking_stand_on_the_page_or_the_reason_why_not(client: Client) -> None:
    html = client.get(f"/v1/assets/{with_history(client)}/history", headers={"Accept": "text/html"}).text
    assert "Survival: " in html and "4 stays: 2 failed, 2 censored" in html
    # by hand: the first failed of four at risk, the second of three; expected of the tail 1/4 + 2 (1/4 + 1/3) = 1.4
    assert "DRY-2-FAN / tail failed 2 times where its class explains 1.4: no evidence" in Page(html).text
    imported(client, running("S-9", asset="QUIET", designation="22220 K/C3"))
    quiet = client.get(f"/v1/assets/{asset_id(client, 'QUIET')}/history", headers={"Accept": "text/html"}).text
    assert "0 failed, 1 censored" in quiet


def test_a_machine_without_history_has_a_page_too(client: Client) -> None:
    opened(client)
    html = client.get(f"/v1/assets/{asset_id(client)}/history", headers={"Accept": "text/html"}).text
    assert Page(html).text.count("No stay is on record.") == 2


def test_what_was_measured_in_an_order_stands_in_the_history(client: Client) -> None:
    made = opened(client)
    assert ready_to_complete(client, made["id"]) == []
    done = completion(installed={"designation": "22216 K/C3"})
    assert client.post(f"/v1/work-orders/{made['id']}/completion", done).status_code == 201
    html = client.get(f"/v1/assets/{asset_id(client)}/history", headers={"Accept": "text/html"}).text
    assert "residual clearance0.0025 in (0.064 mm)" in Page(html).text and "WO-1" in Page(html).text


def test_words_of_callers_stay_words(client: Client) -> None:
    imported(client, stay("S-1", asset=SCRIPT, position=SCRIPT, designation="22216 K/C3", cause=SCRIPT))
    html = client.get(f"/v1/assets/{asset_id(client, quote(SCRIPT))}/history", headers={"Accept": "text/html"}).text
    assert SCRIPT in Page(html).text and not Page(html).all("script") and Page(html).faults == []
