"""The picture in README.md: the first sheet of the card of the demo's order, as the PDF prints it.

`python -m tests.api.first_sheet` makes it anew; a test reads the sheet and compares its words with those that are kept
in the picture (its Description), so that the picture cannot go on showing an older card.
"""

import json
import re
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image, PngImagePlugin

import service
from service.app import create_app
from service.settings import Settings
from service.store import migrate
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.unit.render.card_readers import pdf_pages

SERVICE = Path(service.__file__).parent
FILE = SERVICE / "render" / "docs" / "pictures" / "first_sheet.png"
PIXELS_A_POINT, GREYS = 1.7, 16
WORDS = "Description"
_TIME = re.compile(r"\d{4}-\d\d-\d\d")


def card(url: str) -> bytes:
    """Return the PDF of the demo's order, opened on a fresh database."""
    plant = json.loads((SERVICE / "demo" / "plant.json").read_text(encoding="utf-8"))
    app = create_app(Settings(database_url=url))
    database = app.extensions["capsaddle"].database
    try:
        create_site(database, plant["site"]["code"], plant["site"]["name"], plant["site"]["units"])
        headers = {"Authorization": f"Bearer {create_key(database, plant['site']['code'], ('read', 'write'))}"}
        client = app.test_client()
        for asset in plant["assets"]:
            assert client.post("/v1/assets", json=asset, headers=headers).status_code == 201
        order = client.post("/v1/work-orders", json=plant["work_order"], headers=headers).json
        address = f"/v1/work-orders/{order['id']}/instructions?paper=letter"
        return client.get(address, headers=headers | {"Accept": "application/pdf"}).data
    finally:
        database.dispose()


def words(pdf: bytes) -> str:
    """Return what the first sheet says, without the time of the order."""
    return _TIME.sub("TIME", pdf_pages(pdf)[0])


def write_picture(pdf: bytes, file: Path) -> None:
    """Write the first sheet as a picture that carries its words."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        sheet: Image.Image = document[0].render(scale=PIXELS_A_POINT, grayscale=True).to_pil()
    finally:
        document.close()
    said = PngImagePlugin.PngInfo()
    said.add_text(WORDS, words(pdf).encode("latin-1", "replace").decode("latin-1"), zip=True)
    file.parent.mkdir(exist_ok=True)
    sheet.quantize(GREYS).save(file, optimize=True, pnginfo=said)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'sheet.db'}"
        migrate.upgrade(url)
        write_picture(card(url), FILE)
    print(FILE)
