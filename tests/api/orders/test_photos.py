"""Photos of a job: made anew, without what a camera wrote into them, kept once, given back as nothing but a picture."""

import io
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask
from flask.testing import FlaskClient
from PIL import Image

from service.settings import Settings, SettingsError
from service.store.queries import sites
from service.use_cases.checks.backup import CannotBackUp, back_up, restore
from tests.api.cards.typed import link_to
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.orders import FITTER, TAKEN_AT, opened

QUERY = {"about": "load_mark", "position": "tail", "taken_by": FITTER, "taken_at": TAKEN_AT}
GPS = 0x8825
MAKE = 0x010F
ORIENTATION = 0x0112


def jpeg(width: int = 400, height: int = 300, *, orientation: int | None = None, secret: str | None = None) -> bytes:
    """A JPEG as a camera writes it."""
    image = Image.new("RGB", (width, height), "white")
    image.paste("black", (0, 0, width // 2, height // 2))
    exif = Image.Exif()
    if orientation is not None:
        exif[ORIENTATION] = orientation
    if secret is not None:
        exif[MAKE] = secret
        exif.get_ifd(GPS)[1] = "N"
    written = io.BytesIO()
    image.save(written, "JPEG", exif=exif, comment=(secret or "").encode())
    return written.getvalue()


def post(app: Flask, client: Client, order_id: str, data: bytes, media: str = "image/jpeg", **query: str) -> Any:
    headers = {"Authorization": f"Bearer {client.key}"}
    address = f"/v1/work-orders/{order_id}/photos"
    return app.test_client().post(address, data=data, content_type=media, headers=headers, query_string=QUERY | query)


def get(app: Flask, client: Client, path: str) -> Any:
    return app.test_client().get(path, headers={"Authorization": f"Bearer {client.key}"})


def test_a_photo_is_made_anew_without_what_the_camera_wrote(app: Flask, client: Client) -> None:
    made = opened(client)
    sent = jpeg(orientation=6, secret="Serial 4711 of A. Fitter")
    assert b"Serial 4711" in sent
    answer = post(app, client, made["id"], sent)
    assert answer.status_code == 201, answer.text
    kept = answer.json
    assert (kept["width"], kept["height"], kept["about"], kept["position"]) == (300, 400, "load_mark", "tail"), (
        "upright"
    )
    read = get(app, client, f"/v1/work-orders/{made['id']}/photos/{kept['id']}")
    assert read.content_type == "image/jpeg" and sha256(read.data).hexdigest() == kept["sha256"]
    assert b"Serial 4711" not in read.data and not Image.open(io.BytesIO(read.data)).getexif()
    assert read.headers["X-Content-Type-Options"] == "nosniff"
    assert (
        "sandbox" in read.headers["Content-Security-Policy"]
        and "default-src 'none'" in read.headers["Content-Security-Policy"]
    )
    (listed,) = client.get(f"/v1/work-orders/{made['id']}/photos").json["items"]
    assert listed == kept
    (event,) = [e for e in client.get("/v1/events?limit=200").json["items"] if e["type"].endswith("photo.added")]
    assert event["data"]["changed"]["sha256"] == kept["sha256"] == event["data"]["sha256_after"]


def test_a_large_photo_becomes_smaller_and_a_png_becomes_a_jpeg(app: Flask, client: Client) -> None:
    made = opened(client)
    large = io.BytesIO()
    Image.new("RGBA", (4000, 1000), (255, 0, 0, 10)).save(large, "PNG")
    kept = post(app, client, made["id"], large.getvalue(), "image/png").json
    assert (kept["width"], kept["height"]) == (2560, 640)
    read = get(app, client, f"/v1/work-orders/{made['id']}/photos/{kept['id']}")
    assert read.data[:3] == b"\xff\xd8\xff"


def svg() -> bytes:
    return b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'


def bomb() -> bytes:
    """A PNG of a few kilobytes that says it has ten thousand million pixels."""
    small = io.BytesIO()
    Image.new("1", (10, 10)).save(small, "PNG")
    data = bytearray(small.getvalue())
    data[16:24] = (100_000).to_bytes(4) * 2
    import zlib

    data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4)
    return bytes(data)


@pytest.mark.parametrize(
    "data", [b"GIF89a", svg(), b"<html><script>alert(1)</script>", jpeg()[:300], b"\xff\xd8\xff" * 99, bomb()]
)
def test_what_is_no_photo_is_refused_and_nothing_is_kept(app: Flask, client: Client, data: bytes) -> None:
    made = opened(client)
    answer = post(app, client, made["id"], data)
    assert (answer.status_code, answer.json["code"]) == (422, "not_a_photo"), answer.text
    assert client.get(f"/v1/work-orders/{made['id']}/photos").json["items"] == []


def test_what_hides_behind_a_photo_does_not_come_out_again(app: Flask, client: Client) -> None:
    """A picture with a page behind its last byte: a polyglot."""
    made = opened(client)
    kept = post(app, client, made["id"], jpeg() + b"<script>alert(1)</script>").json
    assert b"<script>" not in get(app, client, f"/v1/work-orders/{made['id']}/photos/{kept['id']}").data


def test_size_media_and_query_are_held(app: Flask, client: Client) -> None:
    made = opened(client)
    assert post(app, client, made["id"], bytes(8 * 1024 * 1024 + 1)).status_code == 413
    assert post(app, client, made["id"], jpeg(), "image/svg+xml").status_code == 415
    assert post(app, client, made["id"], jpeg(), about="selfie").status_code == 400
    refused = post(app, client, made["id"], jpeg(), position="attic")
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_position")
    assert client.post(f"/v1/work-orders/{made['id']}/cancellation", {"reason": "twice"}).status_code == 200
    assert post(app, client, made["id"], jpeg()).status_code == 409


def test_a_site_switches_photos_off(app: Flask, client: Client) -> None:
    made = opened(client)
    kept = post(app, client, made["id"], jpeg()).json
    path = link_to(client, made["id"])
    assert "Send the photo" in app.test_client().get(f"{path}/as-found/tail").text
    sites.set_photos(app.extensions["capsaddle"].database, "ALDER", taken=False)
    refused = post(app, client, made["id"], jpeg(500))
    assert (refused.status_code, refused.json["code"]) == (409, "photos_off")
    assert "Send the photo" not in app.test_client().get(f"{path}/as-found/tail").text
    read = get(app, client, f"/v1/work-orders/{made['id']}/photos/{kept['id']}")
    assert read.status_code == 200, "what was taken stays"


def test_photos_of_another_order_or_site_are_not_there(app: Flask, client_of: ClientMaker) -> None:
    mine, theirs = client_of(app), client_of(app, site="BIRCH")
    first, second = opened(mine, "WO-1"), opened(mine, "WO-2", allow_second=True)
    kept = post(app, mine, first["id"], jpeg()).json
    assert get(app, mine, f"/v1/work-orders/{second['id']}/photos/{kept['id']}").status_code == 404
    assert get(app, theirs, f"/v1/work-orders/{first['id']}/photos/{kept['id']}").status_code == 404
    link = link_to(mine, second["id"])
    assert app.test_client().get(f"{link}/photos/{kept['id']}").status_code == 404
    assert app.test_client().get(f"{link_to(mine, first['id'])}/photos/{kept['id']}").data[:2] == b"\xff\xd8"


def test_a_changed_file_is_not_given_out(app: Flask, client: Client) -> None:
    made = opened(client)
    kept = post(app, client, made["id"], jpeg()).json
    folder = app.extensions["capsaddle"].settings.photo_folder
    (file,) = folder.rglob("*.jpg")
    assert file.name == f"{kept['sha256']}.jpg" and file.stat().st_mode & 0o777 == 0o600
    file.write_bytes(file.read_bytes() + b"x")
    assert get(app, client, f"/v1/work-orders/{made['id']}/photos/{kept['id']}").status_code == 404


def test_a_photo_from_a_card_is_stored_once(app: Flask, client: Client) -> None:
    made = opened(client)
    path, phone = link_to(client, made["id"]), app.test_client()
    now = str(int(datetime.now(UTC).timestamp() * 1000))
    query = {"id": str(uuid4()), "taken": now, "now": now, "about": "damage", "position": "tail", "taken_by": FITTER}
    for _ in range(3):
        answer = phone.post(f"{path}/photos", data=jpeg(), content_type="image/jpeg", query_string=query)
        assert answer.status_code == 201, answer.text
    form: Any = {"about": "damage", "position": "tail", "taken_by": FITTER, "nonce": "n1"}
    for _ in range(2):
        given = form | {"photo": (io.BytesIO(jpeg(500)), "../../a.php")}
        assert phone.post(f"{path}/photos", data=given, content_type="multipart/form-data").status_code == 303
    kept = client.get(f"/v1/work-orders/{made['id']}/photos").json["items"]
    assert [each["width"] for each in kept] == [400, 500]


@pytest.mark.parametrize("change", [{"taken_by": ""}, {"about": "selfie"}, {"id": "1"}, {"taken": "x"}, {"more": "1"}])
def test_a_photo_from_a_card_is_held_to_its_form(app: Flask, client: Client, change: dict[str, str]) -> None:
    path, phone = link_to(client, opened(client)["id"]), app.test_client()
    query = {"id": str(uuid4()), "taken": "1", "now": "1", "about": "damage", "taken_by": FITTER}
    answer = phone.post(f"{path}/photos", data=jpeg(), content_type="image/jpeg", query_string=query | change)
    assert answer.status_code == 422 and answer.json["detail"]
    assert phone.post(f"{path}/photos", data=b"x", content_type="text/html").status_code == 422


def test_photos_are_in_the_backup_and_come_back(app: Flask, client: Client, tmp_path: Path) -> None:
    made = opened(client)
    kept = post(app, client, made["id"], jpeg()).json
    settings = app.extensions["capsaddle"].settings
    file = tmp_path / "plant.backup"
    back_up(settings, file)
    (copied,) = (tmp_path / "plant.backup-photos").rglob("*.jpg")
    assert copied.name == f"{kept['sha256']}.jpg"
    fresh = Settings(database_url=f"sqlite:///{tmp_path / 'fresh.db'}")
    restore(fresh, file)
    assert fresh.photo_folder is not None
    (back,) = fresh.photo_folder.rglob("*.jpg")
    assert back.read_bytes() == copied.read_bytes()
    copied.write_bytes(b"something else")
    with pytest.raises(CannotBackUp, match="photo"):
        restore(Settings(database_url=f"sqlite:///{tmp_path / 'other.db'}"), file)
    assert not (tmp_path / "other.db").exists()
    shutil.rmtree(settings.photo_folder)
    with pytest.raises(CannotBackUp, match="photo"):
        back_up(settings, tmp_path / "second.backup")


def test_the_folder_is_a_setting() -> None:
    given = {"CAPSADDLE_DATABASE_URL": "postgresql://u:p@h/d"}
    assert Settings.from_environment(given).photo_folder is None, "none with PostgreSQL unless it is named"
    named = Settings.from_environment(given | {"CAPSADDLE_PHOTO_DIR": "/var/photos"})
    assert named.photo_folder == Path("/var/photos")
    with pytest.raises(SettingsError, match="absolute"):
        Settings.from_environment(given | {"CAPSADDLE_PHOTO_DIR": "photos"})


def test_the_command_switches_photos(app: Flask, client: Client) -> None:
    url = app.extensions["capsaddle"].settings.database_url
    command = [sys.executable, "-m", "service.cli", "sites", "photos", "ALDER", "off"]
    done = subprocess.run(
        command, capture_output=True, text=True, env={"CAPSADDLE_DATABASE_URL": url, "PATH": ""}, cwd="."
    )
    assert (done.returncode, "off now" in done.stdout) == (0, True), done.stderr
    assert post(app, client, opened(client)["id"], jpeg()).status_code == 409


def test_photos_on_each_engine(app_on_each: Flask, client_on_each: Client, tmp_path: Path) -> None:
    services = app_on_each.extensions["capsaddle"]
    if services.settings.photo_folder is None:
        object.__setattr__(services.settings, "photo_dir", str(tmp_path / "photos"))
    made = opened(client_on_each)
    assert post(app_on_each, client_on_each, made["id"], jpeg()).status_code == 201
    phone: FlaskClient = app_on_each.test_client()
    assert "1 load mark" in phone.get(f"{link_to(client_on_each, made['id'])}/as-found/tail").text
