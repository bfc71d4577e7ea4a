"""The answers that the OpenAPI document gives as examples: the requests of the document, sent on an invented plant.

`python -m tests.contract.answers` writes openapi/answers.json; a test makes them again and compares. Ids, times,
secrets and hashes are replaced by fixed ones, and what is long is cut: arrays after some elements, texts after lines.
"""

import io
import json
import re
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from flask import Flask
from PIL import Image
from werkzeug.test import TestResponse

from service.app import create_app
from service.demo.history import history
from service.settings import AllowedTarget, Settings
from service.store import migrate
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.checked import Client, Contract
from tests.api.samples.orders import closing_readings, initial, isolated, residual, sent

FILE = Path(__file__).parents[2] / "openapi" / "answers.json"
MOST_CHARACTERS, MOST_LINES = 2_500, 8
NDJSON = "application/x-ndjson"
JPEG, JPEG_SAID = "image/jpeg", "(the bytes of a JPEG)"
NOW = "2026-01-07T12:00:00Z"
FANS = ("FAN-16", "FAN-17", "FAN-18")
FORECAST = "replacement-forecast"
QUESTIONS = (
    "life-analysis", "replacement-age?preventive_cost=1&failure_cost=8", "recurrence", "replacement-ranking?top=2",
    "early-failures?group_by=window&within_h=4000", "life-comparison?group_by=manufacturer", "mounting-quality",
    "life-regression?covariates=manufacturer", "life-change?at=2019-01-01T00:00:00Z", "reading-quality",
)  # fmt: skip
LIE = (
    {"question": "R16", "value": {"inclination": {"value": 0, "unit": "deg"}}},
    {"question": "R14", "value": {"rotor_mass": {"value": 540, "unit": "kg"}, "lifting_plan": "LP-7",
                                  "isolation_points": ["MCC 4, drawer 12"]}},
)  # fmt: skip
"""Nobody releases an order before it is known how the shaft lies and is lifted."""
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_HEX = re.compile(r"\b(?:[0-9a-f]{64}|[0-9a-f]{32})\b")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|\+00:00)")
_PRINTED = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
_SECRET = re.compile(r"whsec_[A-Za-z0-9+/=]+")
_DECIMAL = re.compile(r"\d+\.\d+(?:e-?\d+)?(?![\dZ])")
_LINK = re.compile(r"(/card/)[\w.~-]+")

Kept = dict[str, dict[str, dict[str, Any]]]


class Recorder(Client):
    """A client that keeps the first answer of each operation, status and media type."""

    kept: Kept

    def call(self, method: str, path: str, body: Any = None, **more: Any) -> TestResponse:
        """Send a request, and keep what is answered when it went well."""
        answer = super().call(method, path, body, **more)
        if answer.status_code < 300 and answer.data:
            with self.app.test_request_context(path.split("?")[0], method=method) as context:
                endpoint = str(context.request.endpoint).rpartition(".")[2]
            media = str(answer.content_type).split(";")[0]
            given = answer.json if media.endswith("json") and media != NDJSON else JPEG_SAID
            given = answer.text if given == JPEG_SAID and media != JPEG else given
            self.kept.setdefault(endpoint, {}).setdefault(str(answer.status_code), {}).setdefault(media, given)
        return answer

    def made(self, method: str, path: str, body: Any = None, **more: Any) -> Any:
        """Return the answer to what must go well."""
        answer = self.call(method, path, body, **more)
        assert answer.status_code < 300, (method, path, answer.text)
        if answer.content_type == "application/json":
            return answer.json
        return JPEG_SAID if answer.content_type == JPEG else answer.text

    def lines(self, path: str, text: str) -> None:
        """Send NDJSON that must go well."""
        self.made("POST", path, data=text.encode(), content_type=NDJSON)


def application(url: str, *, photo_dir: str | None = None) -> Flask:
    """Return the application on a migrated database with the invented site."""
    targets = (AllowedTarget("https", 443, host="cmms.example"),)
    app = create_app(Settings(database_url=url, webhook_targets=targets, photo_dir=photo_dir))
    create_site(app.extensions["capsaddle"].database, "ALDER", "Alder Hollow board mill", "inch")
    return app


def answers(url: str) -> Kept:
    """Return the examples, made on a migrated database."""
    with tempfile.TemporaryDirectory() as folder:
        return _answers(url, folder)


def _answers(url: str, folder: str) -> Kept:
    began = datetime.now(UTC).replace(microsecond=0)
    app = application(url, photo_dir=folder)
    services = app.extensions["capsaddle"]
    document = json.loads(services.openapi)
    key = create_key(services.database, "ALDER", ("read", "write", "approve", "admin"))
    client = Recorder(app, Contract(document), key)
    client.kept = {}
    try:
        examples = _examples(document)
        _sent(client, examples)
        assert examples.left == set(), "a request that the document shows was never sent"
    finally:
        services.database.dispose()
    fixed = _Fixed(began)
    for by_status in client.kept.values():
        for by_media in by_status.values():
            by_media |= {media: fixed.of(_shortened(answer)) for media, answer in by_media.items()}
    return client.kept


class Examples(dict[tuple[str, str], Any]):
    """The requests that the document shows, by operation and media type; knows which of them were asked for."""

    def __init__(self, found: dict[tuple[str, str], Any]) -> None:
        super().__init__(found)
        self.left = set(found)

    def __getitem__(self, name: tuple[str, str]) -> Any:
        self.left.discard(name)
        return super().__getitem__(name)


def _examples(document: dict[str, Any]) -> Examples:
    found = {}
    for item in document["paths"].values():
        for operation in (each for each in item.values() if isinstance(each, dict)):
            for media, content in operation.get("requestBody", {}).get("content", {}).items():
                found[operation["operationId"], media] = content.get("example")
    return Examples(found)


def _sent(client: Recorder, examples: Examples) -> None:
    """Send every operation of the document once at least, with the request that the document shows."""
    for media in (JPEG, "image/png"):
        assert examples["add_order_photo", media].startswith("(the bytes"), "no text is a picture: one is made and sent"

    def example(name: str) -> Any:
        return examples[name, "application/json"]

    def read(*paths: str, **headers: str) -> None:
        for path in paths:
            client.made("GET", path, headers=headers)

    for path in ("clearance-targets", "bearing-arrangements", "cap-bolt-torques"):
        client.made("POST", f"/v1/{path}", example(path.replace("-", "_")))
    client.lines("/v1/clearance-targets/batch", examples["clearance_targets_batch", NDJSON])
    read("/v1/capabilities", "/v1/stays/template.csv")
    _history(client, read)
    client.made("PUT", "/v1/stays/attributes/crew_size", example("declare_stay_attribute"))
    read("/v1/stays/attributes")
    for media in ("application/json", "text/csv", NDJSON):
        shown = examples["import_stays", media]
        text = (shown if isinstance(shown, str) else json.dumps(shown)).encode()
        client.made("POST", "/v1/stays/import?create_assets=true&dry_run=true", data=text, content_type=media)
    books = _books(client, example, examples["create_chart", "text/csv"], read)
    subscription = client.made("POST", "/v1/subscriptions", example("create_subscription"))["id"]
    asset = client.made("POST", "/v1/assets", example("create_asset"))["id"]
    tag = {"If-Match": client.get(f"/v1/assets/{asset}").headers["ETag"]}
    client.made("PUT", f"/v1/assets/{asset}", example("replace_asset"), headers=tag)
    read("/v1/assets", f"/v1/assets/{asset}")
    client.made("POST", f"/v1/assets/{asset}/meter-readings", example("add_meter_readings"))
    read(f"/v1/assets/{asset}/meter-readings")
    _field_maps(client, example, read)
    _order(client, example, read)
    client.lines("/v1/work-orders/batch", examples["open_work_orders", NDJSON])
    for kind, book in (*books.items(), ("table", "practice-srb-mm")):
        client.made("POST", f"/v1/{kind}s/{book}/recall", example(f"recall_{kind}"))
    _subscription(client, example, read, f"/v1/subscriptions/{subscription}")
    read("/v1/events")


def _history(client: Recorder, read: Any) -> None:
    """Import the invented history, and ask every question about it: what runs, and grows older, comes last."""
    stays = [stay for stay in history() if stay["asset"] in FANS]
    ended = [stay for stay in stays if stay["end_type"] != "running"]
    client.made("POST", "/v1/stays/import?create_assets=true", {"items": ended})
    position = client.made("GET", "/v1/assets?tag=FAN-17")["items"][0]
    drive = next(p["id"] for p in position["shafts"][0]["positions"] if p["name"] == "drive")
    read(
        "/v1/replacements?asset=FAN-16", "/v1/stays?asset=FAN-16", "/v1/stays/failure-data.csv?asset=FAN-16",
        "/v1/stays/asset-segment-events.xml?asset=FAN-16&position=tail", f"/v1/assets/{position['id']}/history",
    )  # fmt: skip
    first = client.made("GET", "/v1/stays?asset=FAN-16&limit=1")["items"][0]
    read(f"/v1/stays/{first['id']}")
    for media in ("text/csv", NDJSON):
        read("/v1/replacements?asset=FAN-16", "/v1/stays?asset=FAN-16", Accept=media)
    for question in (*QUESTIONS, f"positions/{drive}/recurrence", FORECAST):
        if question == FORECAST:
            client.made("POST", "/v1/stays/import", {"items": stays})
        path, _, query = question.partition("?")
        for media in ("application/json", "text/csv"):
            read(f"/v1/{question}", Accept=media)
        if path != "reading-quality":
            for media in ("application/json", "text/csv", NDJSON):
                pages = "&limit=500" if media == "application/json" else ""
                read(f"/v1/{path}/lives?{query}{pages}", Accept=media)


def _books(client: Recorder, example: Any, csv: str, read: Any) -> dict[str, str]:
    """Enter a chart and a housing; return their ids by kind."""
    books = {}
    for kind in ("chart", "housing"):
        books[kind] = str(client.made("POST", f"/v1/{kind}s", example(f"create_{kind}"))["id"])
        read(f"/v1/{kind}s", f"/v1/{kind}s/{books[kind]}")
    said = {**example("create_chart")["provenance"], "kind": "reduction", "name": "the same as CSV"}
    client.made("POST", f"/v1/charts?{urlencode(said)}", data=csv.encode(), content_type="text/csv")
    return books


def _field_maps(client: Recorder, example: Any, read: Any) -> None:
    made = client.made("POST", "/v1/field-maps", example("create_field_map"))["id"]
    read("/v1/field-maps", f"/v1/field-maps/{made}")
    client.made("POST", f"/v1/field-maps/{made}/try", example("try_field_map"))
    client.made("POST", "/v1/field-maps/preview", example("preview_field_map"))
    profile = client.made("POST", "/v1/import-profiles", example("create_import_profile"))["id"]
    read("/v1/import-profiles", f"/v1/import-profiles/{profile}")
    for _ in range(2):
        client.made("POST", "/v1/inbound/north-mill", example("take_in"))
    # its position is free again for the orders that come
    order = client.made("GET", "/v1/work-orders")["items"][0]["id"]
    client.made("POST", f"/v1/work-orders/{order}/cancellation", example("cancel_work_order"))


def _order(client: Recorder, example: Any, read: Any) -> None:
    """Open an order, answer, release, measure, close it, correct it; open another one and cancel it."""
    for _ in range(2):
        order = client.made("POST", "/v1/work-orders", example("open_work_order"))
    one = f"/v1/work-orders/{order['id']}"
    client.made("POST", f"{one}/answers", example("answer"))
    client.made("POST", f"{one}/answers", {"answers": [each | {"answered_by": "C. Planner"} for each in LIE]})
    client.made("POST", f"{one}/release", example("release"))
    for media in ("application/json", "text/csv", "text/plain"):
        pack = example("make_job_pack") | {"orders": [order["id"]]}
        client.made("POST", "/v1/job-packs", pack, headers={"Accept": media})
    read(f"{one}/readiness", f"{one}/parts.csv", f"{one}/review")  # before anything is read: no age of a reading in it
    read(f"{one}/review", Accept="text/plain")
    read(
        "/v1/work-orders", one, f"{one}/instructions", f"{one}/instructions/1", f"{one}/instructions/steps.csv",
        f"{one}/instructions/clearance-window.svg?position=tail", f"{one}/instructions/shaft-line.svg",
    )  # fmt: skip
    read(f"{one}/instructions", f"{one}/instructions/1", Accept="text/plain")
    client.made("POST", f"{one}/card-links", example("make_card_link"))
    client.made("POST", f"{one}/readings", example("record_readings"))
    client.made("POST", f"{one}/as-found", example("record_as_found"))
    photo = io.BytesIO()
    Image.new("RGB", (640, 480), "white").save(photo, "JPEG")
    query = urlencode({"about": "load_mark", "position": "tail", "taken_by": "A. Fitter", "taken_at": NOW})
    made = client.made("POST", f"{one}/photos?{query}", data=photo.getvalue(), content_type=JPEG)
    read(f"{one}/photos", f"{one}/photos/{made['id']}")
    sent(client, order["id"], initial("tail", 0.0040), residual("tail", 0.0020))
    client.made("POST", f"{one}/deviations", example("approve_deviation"))
    plan = client.made("GET", f"{one}/instructions")
    still = sent(client, order["id"], isolated())["hold_points_open"]
    sent(client, order["id"], *closing_readings(still, plan, clearance_in=0.0020))
    done = client.made("POST", f"{one}/completion", example("complete_work_order"))
    client.made("POST", f"{one}/corrections", example("correct_completion") | {"corrects": done["id"]})
    read(f"{one}/completion", f"{one}/readings", f"{one}/as-found", f"{one}/deviations", f"{one}/job-response")
    read("/v1/reading-quality")
    other = example("open_work_order") | {"external": {"system": "plant-a", "number": "WO-10240"}}
    cancelled = client.made("POST", "/v1/work-orders", other)["id"]
    client.made("POST", f"/v1/work-orders/{cancelled}/cancellation", example("cancel_work_order"))


def _subscription(client: Recorder, example: Any, read: Any, one: str) -> None:
    read("/v1/subscriptions", one)
    client.made("POST", f"{one}/ping")
    client.made("POST", f"{one}/replay", example("replay_events") | {"after": 0, "until": 50})
    deliveries = client.made("GET", f"{one}/deliveries")["items"]
    read(f"{one}/deliveries/{deliveries[0]['id']}")
    client.made("POST", f"{one}/deliveries/{deliveries[0]['id']}/redelivery")
    client.made("POST", f"{one}/secret", example("rotate_secret"))
    tag = {"If-Match": client.get(one).headers["ETag"]}
    client.made("PUT", one, example("change_subscription"), headers=tag)


def _shortened(value: Any) -> Any:
    """Return the value, or what is left of it when its arrays (its lines, when it is a text) are cut."""
    if isinstance(value, str) and value.startswith('{"'):  # NDJSON: the first lines and the end mark
        first, *others = (json.dumps(_shortened(json.loads(line)), ensure_ascii=False) for line in value.splitlines())
        return "\n".join([first, *others[-1:], ""])
    if isinstance(value, str):
        return value if value.startswith("<") else "".join(value.splitlines(keepends=True)[:MOST_LINES])
    cut = value
    for most in (4, 2, 1):
        cut = _cut(value, most)
        if len(json.dumps(cut)) <= MOST_CHARACTERS:
            return cut
    return cut


def _cut(value: Any, most: int) -> Any:
    if isinstance(value, dict):
        return {name: _cut(each, most) for name, each in value.items()}
    return [_cut(each, most) for each in value[:most]] if isinstance(value, list) else value


class _Fixed:
    """Replaces what is another one each time by what is always the same."""

    def __init__(self, began: datetime) -> None:
        self.began, self.known = began, dict[str, str]()

    def of(self, value: Any) -> Any:
        """Return the value with fixed ids, times, secrets and hashes."""
        if isinstance(value, dict):
            return {name: 0 if name == "duration_ms" else self.of(each) for name, each in value.items()}
        if isinstance(value, list):
            return [self.of(each) for each in value]
        if isinstance(value, float):
            return float(f"{value:.9g}")  # the last digits depend on the order in which a database answers
        return self._text(value) if isinstance(value, str) else value

    def _text(self, text: str) -> str:
        text = _UUID.sub(lambda m: self._number(m[0], "01900000-0000-7000-8000-{:012d}"), text)
        text = _HEX.sub(lambda m: self._number(m[0], f"{{:0{len(m[0])}d}}"), text)
        if "\r\n" in text:  # a CSV
            text = _DECIMAL.sub(lambda m: f"{float(m[0]):.9g}", text)
        text = _SECRET.sub(f"whsec_{'A' * 43}=", text)
        text = _PRINTED.sub(self._printed, _TIME.sub(self._time, text))
        return _LINK.sub(r"\1TOKEN", text)

    def _number(self, text: str, pattern: str) -> str:
        return self.known.setdefault(text, pattern.format(len(self.known) + 1))

    def _time(self, match: re.Match[str]) -> str:
        return NOW if datetime.fromisoformat(match[0]) >= self.began else match[0]

    def _printed(self, match: re.Match[str]) -> str:
        moment = datetime.strptime(match[0], "%Y-%m-%d %H:%M UTC").replace(tzinfo=UTC)
        return "2026-01-07 12:00 UTC" if moment >= self.began.replace(second=0) else match[0]


def written(found: Kept) -> str:
    """Return the examples as they are stored."""
    return json.dumps(found, ensure_ascii=False, sort_keys=True, indent=0) + "\n"


def main() -> int:
    """Write the file."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'examples.db'}"
        migrate.upgrade(url)
        FILE.write_text(written(answers(url)), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
