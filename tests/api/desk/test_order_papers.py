"""What the desk shows of an order besides its page: photos of the job, and the lead's sheet."""

from flask import Flask

from tests.api.desk.doors import signed_in
from tests.api.orders.test_photos import jpeg, post
from tests.api.samples.checked import Client
from tests.api.samples.orders import opened
from tests.unit.render.card_readers import pdf_pages


def test_a_photo_is_seen_on_the_desk_as_a_picture_alone(app: Flask, client: Client) -> None:
    made = opened(client)
    kept = post(app, client, made["id"], jpeg()).json
    desk, path = signed_in(app), f"/desk/orders/{made['id']}"
    assert f'href="{path}/photos/{kept["id"]}"' in desk.get(path).text
    seen = desk.get(f"{path}/photos/{kept['id']}")
    assert seen.content_type == "image/jpeg" and seen.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in seen.headers["Content-Security-Policy"], "a browser that opens it runs nothing"
    assert desk.get(f"{path}/photos/{made['id']}").status_code == 404
    stranger = app.test_client().get(f"{path}/photos/{kept['id']}")
    assert stranger.content_type != "image/jpeg"


def test_the_leads_sheet_is_one_touch_away(app: Flask, client: Client) -> None:
    made = opened(client)
    desk, path = signed_in(app), f"/desk/orders/{made['id']}"
    assert f'href="{path}/lead.pdf"' in desk.get(path).text
    (page, *_) = pdf_pages(desk.get(f"{path}/lead.pdf").data)
    assert "Still open" in page and made["external"]["number"] in page
