"""The hour meter of a machine: a series that never runs back, exchanges entered; ages go by it."""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.histories import imported, running, stay
from tests.api.samples.machines import fan
from tests.api.samples.orders import completion, opened, ready_to_complete


def hours(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "h"}


def reading(day: str, value: float, **more: Any) -> dict[str, Any]:
    return {"read_at": f"{day}T00:00:00Z", "value": hours(value), **more}


@pytest.fixture
def machine(client_on_each: Client) -> str:
    return f"/v1/assets/{client_on_each.post('/v1/assets', fan(duty=0.5)).json['id']}/meter-readings"


def entered(client: Client, path: str, *readings: dict[str, Any]) -> Any:
    return client.post(path, {"readings": list(readings)})


def test_readings_are_kept_once_and_exchanges_are_taken_out(client_on_each: Client, machine: str) -> None:
    first = reading("2024-01-01", 40_000), reading("2024-07-01", 43_000, restarts_at=hours(10))
    assert entered(client_on_each, machine, *first).status_code == 201
    again = entered(client_on_each, machine, *first, reading("2025-01-01", 3_510))
    assert (again.json["unchanged"], len(again.json["items"])) == (2, 1)
    assert again.json["items"][0]["run_since_first"]["value"] == 6_500.0
    items = client_on_each.get(machine).json["items"]
    assert [item["run_since_first"]["value"] for item in items] == [0.0, 3_000.0, 6_500.0]
    page = client_on_each.get(f"{machine}?limit=2").json
    assert [len(page["items"]), len(client_on_each.get(page["next"]).json["items"])] == [2, 1]


def test_a_meter_that_runs_back_is_refused_and_nothing_is_kept(client_on_each: Client, machine: str) -> None:
    entered(client_on_each, machine, reading("2024-01-01", 40_000))
    back = entered(client_on_each, machine, reading("2024-02-01", 40_500), reading("2024-03-01", 39_000))
    assert (back.status_code, back.json["code"]) == (422, "meter_runs_back")
    between = entered(client_on_each, machine, reading("2023-06-01", 40_100))
    assert between.json["code"] == "meter_runs_back"
    assert len(client_on_each.get(machine).json["items"]) == 1


def test_two_values_of_one_moment_contradict_and_a_wrong_one_is_struck_out(
    client_on_each: Client, machine: str
) -> None:
    wrong = entered(client_on_each, machine, reading("2024-01-01", 400_000)).json["items"][0]
    refused = entered(client_on_each, machine, reading("2024-01-01", 40_000))
    assert (refused.status_code, refused.json["code"]) == (409, "meter_read_then")
    assert client_on_each.delete(f"{machine}/{wrong['id']}").status_code == 204
    assert client_on_each.delete(f"{machine}/{wrong['id']}").status_code == 404
    assert entered(client_on_each, machine, reading("2024-01-01", 40_000)).status_code == 201


def test_an_exchange_that_explains_a_lower_reading_cannot_be_struck_out(client_on_each: Client, machine: str) -> None:
    exchange = reading("2024-07-01", 43_000, restarts_at=hours(0))
    three = entered(client_on_each, machine, reading("2024-01-01", 40_000), exchange, reading("2025-01-01", 900))
    refused = client_on_each.delete(f"{machine}/{three.json['items'][1]['id']}")
    assert (refused.status_code, refused.json["code"]) == (422, "meter_runs_back")
    assert len(client_on_each.get(machine).json["items"]) == 3


def exposure_and_words(client: Client, query: str) -> tuple[float, str]:
    answer = client.get(f"/v1/life-analysis?group_by=position{query}").json
    (item,) = answer["items"]
    return item["exposure"]["total"]["value"], " ".join(answer["assumptions"])


def test_ages_go_by_the_meter_else_by_calendar_time_times_duty_and_the_answer_says_which(
    client_on_each: Client, machine: str
) -> None:
    """366 days of 2024 are 8,784 h; the meter ran 6,000 h in them; half of 8,784 h is 4,392 h."""
    client = client_on_each
    ended = {"installed_at": "2024-01-01T00:00:00Z", "removed_at": "2025-01-01T00:00:00Z"}
    imported(client, stay("T", **ended), stay("D", position="drive", **ended, operating_hours=5_000))
    by_duty, said = exposure_and_words(client, "&position=tail")
    assert by_duty == pytest.approx(4_392)
    assert "calendar time times duty" in said and "Duty 0.5" in said
    entered(client, machine, reading("2023-12-01", 40_000), reading("2024-01-01", 40_600))
    assert exposure_and_words(client, "&position=tail")[0] == pytest.approx(4_392)
    entered(client, machine, reading("2025-01-01", 46_600))
    by_meter, said = exposure_and_words(client, "&position=tail")
    assert by_meter == pytest.approx(6_000)
    assert "the hour meter of the asset" in said
    stated, said = exposure_and_words(client, "&position=drive")
    assert stated == 5_000 and "operating hours entered with the stay" in said


def test_a_running_bearing_is_as_old_as_the_last_reading_says(client_on_each: Client, machine: str) -> None:
    imported(client_on_each, running("T", installed_at="2024-01-01T00:00:00Z"))
    entered(client_on_each, machine, reading("2024-01-01", 100), reading("2024-03-01", 1_300))
    assert exposure_and_words(client_on_each, "")[0] == pytest.approx(1_200)


def test_an_asset_with_readings_is_not_deleted(client_on_each: Client, machine: str) -> None:
    entered(client_on_each, machine, reading("2024-01-01", 100))
    refused = client_on_each.delete(machine.removesuffix("/meter-readings"), headers={"If-Match": "*"})
    assert (refused.status_code, refused.json["code"]) == (409, "asset_in_use")


def test_a_reading_that_comes_with_a_completion_goes_into_the_series_where_it_fits(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    path = f"/v1/assets/{order['asset_id']}/meter-readings"
    entered(client, path, reading("2019-01-01", 40_000))
    done = client.post(
        f"/v1/work-orders/{order['id']}/completion",
        completion(removed={"end_type": "failed"}) | {"meter_reading": hours(47_000)},
    )
    assert done.status_code == 201, done.json
    assert [item["value"]["value"] for item in client.get(path).json["items"]] == [40_000, 47_000]


def test_a_completion_is_not_stopped_by_an_exchange_that_nobody_entered(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    path = f"/v1/assets/{order['asset_id']}/meter-readings"
    entered(client, path, reading("2019-01-01", 40_000))
    done = client.post(
        f"/v1/work-orders/{order['id']}/completion",
        completion(removed={"end_type": "failed"}) | {"meter_reading": hours(300)},
    )
    assert done.status_code == 201, done.json
    assert len(client.get(path).json["items"]) == 1


def test_a_year_has_four_digits_however_old(client_on_each: Client, machine: str) -> None:
    """A slip of the year is told back as it was read, in the form that the contract gives times."""
    old = entered(client_on_each, machine, reading("0003-01-03", 0)).json["items"][0]
    assert old["read_at"] == "0003-01-03T00:00:00.000000Z"
    assert [item["read_at"] for item in client_on_each.get(machine).json["items"]] == [old["read_at"]]
