"""What is typed on the pages of a card in the tests: its forms as a browser sends them, and what its script sends."""

import re
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from flask.testing import FlaskClient

from tests.api.samples.checked import Client
from tests.api.samples.orders import FITTER
from tests.unit.render.card_readers import Page

INITIAL = "/step/140/tail"


def link_to(client: Client, order_id: str, **asked: Any) -> str:
    """The path of a new link to the card of an order."""
    made = client.post(f"/v1/work-orders/{order_id}/card-links", asked)
    assert made.status_code == 201, made.json
    assert made.headers["Location"] == made.json["url"]
    path: str = made.json["url"]
    return path


def forms(page: str) -> list[dict[str, Any]]:
    """The forms of a page: what a browser would send untouched."""
    found = []
    for form in re.findall(r"<form.*?</form>", page, re.DOTALL):
        read = Page(form)
        left, named = ("checkbox", "radio"), [each for each in read.all("input") if "name" in each]
        values = {each["name"]: each.get("value", "") for each in named if each.get("type") not in left}
        for name, body in re.findall(r'<select[^>]*name="([\w-]+)"[^>]*>(.*?)</select>', form, re.DOTALL):
            chosen = re.search(r"<option[^>]* selected>([^<]*)", body) or re.search(r"<option[^>]*>([^<]*)", body)
            assert chosen is not None
            values[name] = chosen[1]
        found.append(values)
    return found


def form_at(phone: FlaskClient, path: str, step: str = INITIAL, **typed: Any) -> dict[str, Any]:
    """The form of a step, filled in."""
    (form,) = [each for each in forms(phone.get(path + step).text) if "kind" in each]
    return form | {"taken_by": FITTER} | typed


def typed_initial(
    phone: FlaskClient, path: str, one: str = "0.0040", two: str = "0.0040", **more: Any
) -> dict[str, Any]:
    return form_at(phone, path, one=one, two=two, **more)


def readings(client: Client, made: dict[str, Any]) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get(f"/v1/work-orders/{made['id']}/readings?limit=200").json["items"]
    return items


def entry(fields: dict[str, Any], **more: Any) -> dict[str, Any]:
    """What the script of the page sends."""
    lists = {name: value if isinstance(value, list) else [value] for name, value in fields.items() if name != "nonce"}
    now = int(datetime.now(UTC).timestamp() * 1000)
    given = {"id": str(uuid4()), "what": "reading", "fields": lists, "taken": now, "now": now, "held": True}
    return given | more
