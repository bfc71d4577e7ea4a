"""Every question can be asked of, and by, all that a stay carries. The plant is invented; counts are made by hand."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay

BEGIN = datetime(2018, 1, 10, tzinfo=UTC)
CREWS, MAKERS, GREASES = ("crew 1", "crew 2", "crew 3"), ("Maker A", "Maker B"), ("Grease 1", "Grease 2")


def moment(hours: float) -> str:
    return (BEGIN + timedelta(hours=hours)).isoformat()


def plant(machines: int = 12, lives: int = 5) -> list[dict[str, Any]]:
    """Machines with one position each, five bearings one after another, the last one running."""
    found = []
    for machine in range(machines):
        for number in range(lives):
            n = machine * lives + number
            members = {
                "asset": f"FAN-{machine:02d}",
                "installed_at": moment(number * 2_000 + machine * 24),
                "manufacturer": MAKERS[n % 2],
                "installed_by": CREWS[n % 3],
                "lubricant": GREASES[machine % 2],
                "batch": f"B{n % 4}",
                "serial": f"{'N' if n % 5 else 'X'}-{n:03d}",
                "work_order": f"WO-{n}",
                "speed_rpm": 900.0 + 50 * (n % 7),
                "attributes": {"crew_size": n % 3, "hot_oil": n % 2 == 0, "shift": "late" if n % 4 else "early"},
            }
            if number == lives - 1:
                found.append(running(f"S-{n:03d}", **members, as_of=moment(number * 2_000 + machine * 24 + 1_500)))
                continue
            ended = {"removed_at": moment((number + 1) * 2_000 + machine * 24), "operating_hours": 900 + 37 * (n % 11)}
            cause = {"cause": "seal worn"} if n % 2 else {}
            found.append(stay(f"S-{n:03d}", **members, **ended, **cause, end_type="failed", damage="wear"))
    return found


@pytest.fixture
def filled(client_on_each: Client) -> Client:
    imported(client_on_each, *plant())
    return client_on_each


def answer(client: Client, path: str) -> dict[str, Any]:
    found = client.get(path)
    assert found.status_code == 200, found.json
    body: dict[str, Any] = found.json
    return body


def chosen(test: Any) -> int:
    return sum(1 for one in plant() if test(one))


FILTERS: list[tuple[str, Any]] = [
    ("installer=crew 2", lambda one: one["installed_by"] == "crew 2"),
    ("manufacturer=Maker B", lambda one: one["manufacturer"] == "Maker B"),
    ("batch=B3", lambda one: one["batch"] == "B3"),
    ("serial_prefix=X-", lambda one: one["serial"].startswith("X-")),
    ("cause=seal worn", lambda one: one.get("cause") == "seal worn"),
    ("work_order=WO-7", lambda one: one["work_order"] == "WO-7"),
    ("lubricant=Grease 2", lambda one: one["lubricant"] == "Grease 2"),
    ("attributes.crew_size=2", lambda one: one["attributes"]["crew_size"] == 2),
    ("attributes.hot_oil=true", lambda one: one["attributes"]["hot_oil"]),
    ("attributes.shift=early&installer=crew 2",
     lambda one: one["attributes"]["shift"] == "early" and one["installed_by"] == "crew 2"),
]  # fmt: skip


def test_a_filter_chooses_the_lives_of_a_life_analysis(filled: Client) -> None:
    for query, test in FILTERS:
        (item,) = answer(filled, f"/v1/life-analysis?{query}")["items"]
        assert item["counts"]["stays"] == chosen(test), query
    said = answer(filled, "/v1/life-analysis?cause=seal worn")["assumptions"]
    assert any("told at removal" in str(text) for text in said)


def test_a_filter_only_shows_where_a_site_is_compared_with_itself(filled: Client) -> None:
    """Policy P3: expected numbers, adjusted p and family are those of the whole site in every filter."""
    for path in ("/v1/replacement-ranking?top=100", "/v1/life-comparison?group_by=asset&top=100"):
        whole = answer(filled, path)
        of_all = {item["group"]: item for item in whole["items"]}
        for query, test in FILTERS:
            part = answer(filled, f"{path}&{query}")
            assert part["family"] == whole["family"]
            machines = {one["asset"] for one in plant() if test(one)}
            assert {item["group"].split(" / ")[0] for item in part["items"]} == machines, (path, query)
            assert all(item == of_all[item["group"]] for item in part["items"])


@pytest.mark.parametrize(
    ("by", "groups"),
    [
        ("installer", set(CREWS)),
        ("manufacturer", set(MAKERS)),
        ("lubricant", set(GREASES)),
        ("batch", {"B0", "B1", "B2", "B3"}),
        ("cause", {"seal worn", "not stated"}),
        ("attributes.crew_size", {"0", "1", "2"}),
        ("attributes.hot_oil", {"true", "false"}),
        ("attributes.shift", {"early", "late"}),
        ("fitted_quarter", {"2018-Q1", "2018-Q2", "2018-Q3", "2018-Q4"}),
    ],
)
def test_lives_are_grouped_by_all_that_a_stay_carries(filled: Client, by: str, groups: set[str]) -> None:
    items = answer(filled, f"/v1/life-analysis?group_by={by}")["items"]
    assert {item["group"] for item in items} == groups
    assert sum(item["counts"]["stays"] for item in items) == len(plant())
    if by != "cause":
        compared = answer(filled, f"/v1/life-comparison?group_by={by}&top=100")
        if not by.startswith("fitted"):
            assert {item["group"] for item in compared["items"]} == groups
            key = compared["items"][0]
            assert key["keys"] == {by: key["group"]}


def test_a_cause_is_not_compared_and_an_unknown_attribute_is_said(filled: Client) -> None:
    assert filled.get("/v1/life-comparison?group_by=cause").json["code"] == "bad_parameter"
    for query in (
        "life-analysis?group_by=attributes.nothing",
        "early-failures?group_by=attributes.nothing",
        "replacement-ranking?attributes.nothing=1",
        "life-regression?covariates=attributes.nothing",
    ):
        refused = filled.get(f"/v1/{query}")
        assert (refused.status_code, refused.json["code"]) == (422, "unknown_attribute"), refused.json
    wrong = filled.get("/v1/replacement-ranking?attributes.crew_size=many")
    assert (wrong.status_code, wrong.json["code"]) == (422, "attribute_type_differs")
    assert filled.get("/v1/life-analysis?group_by=attributes.Nothing").json["code"] == "bad_parameter"


def test_a_regression_takes_what_a_stay_carries(filled: Client) -> None:
    names = ("speed", "lubricant", "batch", "attributes.crew_size", "attributes.hot_oil")
    found = answer(filled, f"/v1/life-regression?covariates={','.join(names)}")
    assert {item["name"] for item in found["items"]} == set(names)
    steps = {item["name"]: item["step"] for item in found["items"]}
    assert (steps["speed"], steps["attributes.crew_size"]) == (100, 1)


def test_a_work_order_is_found_by_number_and_by_id(client: Client) -> None:
    from tests.api.samples.orders import completion, opened, ready_to_complete

    order = opened(client)
    ready_to_complete(client, order["id"])
    done = client.post(f"/v1/work-orders/{order['id']}/completion", completion(installed={"batch": "B9"}))
    assert done.status_code == 201, done.json
    imported(client, stay("S-1", asset="OTHER", work_order="WO-77"))
    number = order["external"]["number"] if "external" in order else "WO-1"
    for wanted in (order["id"], number):
        for path in ("/v1/life-analysis", "/v1/stays"):
            items = answer(client, f"{path}?work_order={wanted}")["items"]
            assert len(items) == 1, (path, wanted)
    compared = answer(client, "/v1/life-comparison?group_by=work_order")
    assert "WO-77" in {item["group"] for item in compared["items"]}
    for wanted in (order["id"], number):
        (item,) = answer(client, f"/v1/life-comparison?group_by=work_order&work_order={wanted}")["items"]
        assert item["group"].endswith("WO-1")
