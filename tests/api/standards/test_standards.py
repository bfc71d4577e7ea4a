"""Open standards out: what an order did, as others read it."""

import csv
import io
import xml.etree.ElementTree as ElementTree
from typing import Any
from uuid import UUID

import pytest

from service.exchange.ccom import NAMESPACE
from tests.api.samples.checked import Client
from tests.api.samples.orders import completion, opened, ready_to_complete

# OIIE scenario 11 (MIMOSA): EventType UUIDs of installation and removal
INSTALLATION, REMOVAL = "ecc99353-412b-4995-bd71-1cbc6fc16c7c", "3a45e126-b234-42a0-b3b1-07c29522d02d"
CCOM = {"c": NAMESPACE}


def replaced(client: Client, number: str, day: int, serial: str, **removed: Any) -> str:
    order_id = str(opened(client, number)["id"])
    assert ready_to_complete(client, order_id) == []
    installed = {"serial": serial, "designation": "22216 K/C3", "manufacturer": "=Example & Sons"}
    more: dict[str, Any] = {"removed": removed} if removed else {}
    done = completion(at=f"2026-01-{day:02d}T15:30:00Z", installed=installed, **more)
    answer = client.post(f"/v1/work-orders/{order_id}/completion", done)
    assert answer.status_code == 201, answer.json
    return order_id


@pytest.fixture
def last_order(client: Client) -> str:
    """Two replacements in one position; the id of the second order."""
    replaced(client, "WO-1", 7, "N-1")
    return replaced(client, "WO-2", 17, "N-2", end_type="failed", cause="water in the housing")


def events(client: Client, query: str = "") -> list[ElementTree.Element]:
    answer = client.get(f"/v1/stays/asset-segment-events.xml{query}")
    assert answer.status_code == 200
    root = ElementTree.fromstring(answer.text)
    assert root.tag == f"{{{NAMESPACE}}}SyncAssetSegmentEvents"
    return root.findall("c:DataArea/c:AssetSegmentEvent", CCOM)


def text(event: ElementTree.Element, path: str) -> str | None:
    return event.findtext("/".join(f"c:{part}" for part in path.split("/")), namespaces=CCOM)


def test_fittings_and_removals_as_asset_segment_events(client: Client, last_order: str) -> None:
    found = events(client)
    told = [(text(e, "Type/UUID"), text(e, "Start/DateTime"), text(e, "Asset/SerialNumber")) for e in found]
    assert told == [
        (INSTALLATION, "2026-01-07T15:30:00.000000Z", "N-1"),
        (REMOVAL, "2026-01-17T15:30:00.000000Z", "N-1"),
        (INSTALLATION, "2026-01-17T15:30:00.000000Z", "N-2"),
    ]
    assert {text(e, "Segment/ShortName") for e in found} == {"DRY-2-FAN / tail"}
    assert len({text(e, "Segment/UUID") for e in found}) == 1
    assert {text(e, "Asset/Manufacturer/ShortName") for e in found} == {"=Example & Sons"}
    ids = [UUID(str(text(e, "UUID"))) for e in found]
    assert len(set(ids)) == 3
    assert [UUID(str(text(e, "UUID"))) for e in events(client)] == ids, "the same event has the same id every time"
    assert text(found[0], "Asset/UUID") == text(found[1], "Asset/UUID") != text(found[2], "Asset/UUID")


def test_pages_lead_on_by_link(client: Client, last_order: str) -> None:
    first = client.get("/v1/stays/asset-segment-events.xml?limit=1")
    following = first.headers["Link"].split(">")[0].removeprefix("<")
    assert [text(e, "Asset/SerialNumber") for e in events(client, "?" + following.split("?")[1])] == ["N-2"]


def test_removals_in_the_manner_of_iso_14224(client: Client, last_order: str) -> None:
    answer = client.get("/v1/stays/failure-data.csv")
    (row,) = csv.DictReader(io.StringIO(answer.text))
    assert (row["equipment_tag"], row["item_location"], row["item_serial"]) == ("DRY-2-FAN", "tail", "N-1")
    assert (row["event_kind"], row["failure_cause"]) == ("failed", "water in the housing")
    assert row["event_date"] == "2026-01-17T15:30:00.000000Z"
    assert row["item_manufacturer"] == "'=Example & Sons", "no spreadsheet takes it for a formula"
