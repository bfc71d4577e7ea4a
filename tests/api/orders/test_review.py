"""The lead's sheet: what came in bulk, out of order or late, what was let pass, what is open; an invented crew."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.api.samples.checked import Client
from tests.api.samples.orders import (
    FITTER,
    FOREMAN,
    closing_readings,
    confirmed,
    initial,
    isolated,
    opened,
    ready_to_complete,
    sent,
)
from tests.unit.render.card_readers import pdf_pages


def review(client: Client, made: dict[str, Any], **headers: str) -> Any:
    answer = client.get(f"/v1/work-orders/{made['id']}/review", headers=headers)
    assert answer.status_code == 200, answer.text
    return answer


def now(minutes: float = 0.0) -> str:
    return (datetime.now(UTC) - timedelta(minutes=minutes)).isoformat()


def test_a_new_order_has_every_hold_open(client: Client) -> None:
    body = review(client, opened(client)).json
    assert {each["hold"] for each in body["holds"]} == set(range(1, 10)), "nine holds: order of work, part 2"
    assert {each["state"] for each in body["holds"]} == {"open"} and {each["person"] for each in body["holds"]} == {
        None
    }
    assert len(body["open_holds"]) == len(body["holds"])
    assert (body["in_bulk"], body["out_of_order"], body["late"], body["deviations"]) == ([], [], [], [])
    assert {each["id"] for each in body["open_questions"]} >= {"R12", "R14"}


def test_what_was_signed_in_one_go_late_and_out_of_order_is_named_with_its_person(client: Client) -> None:
    """Everything taken at one minute years ago by one hand; the try-start an hour after the clearance."""
    made = opened(client)
    still_open = sent(client, made["id"], isolated(taken_at="2020-01-07T10:10:00Z"), initial("tail", 0.0040))
    plan = client.get(f"/v1/work-orders/{made['id']}/instructions").json
    sent(client, made["id"], *closing_readings(still_open["hold_points_open"], plan))
    body = review(client, made).json
    (bulk,) = body["in_bulk"]
    assert bulk["person"] == FITTER and len(bulk["holds"]) >= 3
    (early,) = [each for each in body["out_of_order"] if each["step"] == "initial"]
    assert (early["after"]["step"], early["after"]["person"]) == ("isolate", FITTER)
    assert all(each["hours"] > 50_000 for each in body["late"]) and len(body["late"]) >= 8
    assert body["open_holds"] == [] and {each["state"] for each in body["holds"]} == {"signed"}
    assert {each["person"] for each in body["holds"]} == {FITTER, FOREMAN}
    flagged = {each["code"] for each in client.get(f"/v1/work-orders/{made['id']}").json["flags"]}
    assert flagged >= {"signed_in_one_go", "time_before_predecessor"}, "the sheet says what the flags say"


def test_what_is_sent_within_the_hour_is_not_late(client: Client) -> None:
    made = opened(client)
    sent(client, made["id"], isolated(taken_at=now(59)), initial("tail", 0.0040, taken_at=now(61)))
    (late,) = review(client, made).json["late"]
    assert late["kind"] == "initial_clearance" and 1.0 <= late["hours"] < 1.1


def test_deviations_and_readings_taken_back_stand_on_it(client: Client) -> None:
    made = opened(client)
    client.post(
        f"/v1/work-orders/{made['id']}/deviations",
        {"step": "isolate", "reason": "no motor: the belts are off", "approved_by": FOREMAN, "taken_by": FITTER},
    )
    first = sent(client, made["id"], initial("tail", 0.0045))["items"][0]
    sent(client, made["id"], initial("tail", 0.0040, replaces=first["id"], reason="misread"))
    body = review(client, made).json
    (let,) = body["deviations"]
    assert (let["step"], let["approved_by"]) == ("isolate", FOREMAN)
    assert next(each["state"] for each in body["holds"] if each["step"] == "isolate") == "deviation"
    (back,) = body["taken_back"]
    assert (back["kind"], back["person"], back["reason"]) == ("initial_clearance", FITTER, "misread")


def test_the_lead_reads_it_as_text_and_on_paper(client: Client) -> None:
    made = opened(client)
    ready_to_complete(client, made["id"])
    sent(client, made["id"], confirmed("release-drive"))
    text = review(client, made, Accept="text/plain").text
    printed = review(client, made, Accept="application/pdf")
    (page, *_) = pdf_pages(printed.data)
    for said in ("Signed in one go", "Out of order", "On record late", "Deviations", "Still open", "R12", FOREMAN):
        assert said.lower() in text.lower() and said.lower() in " ".join(page.split()).lower()
    assert "seen by" in page and max(map(len, text.splitlines())) <= 120
    refused = client.get(f"/v1/work-orders/{made['id']}/review", headers={"Accept": "image/png"})
    assert refused.status_code == 406


def test_the_sheet_of_another_site_is_not_there(client: Client, metric_client: Client) -> None:
    assert metric_client.get(f"/v1/work-orders/{opened(client)['id']}/review").status_code == 404
