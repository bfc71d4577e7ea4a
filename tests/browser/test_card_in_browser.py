"""The card in a real browser: on a phone, on paper, filled in without any script."""

from io import BytesIO
from itertools import pairwise
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from service.render import docs
from tests.api.orders.test_cards import texts
from tests.api.samples.machines import fan
from tests.api.samples.orders import known_fan
from tests.browser.conftest import A4_AT_96_DPI, PHONE, Mill, PageMaker
from tests.browser.looks import (
    heading_levels,
    low_contrasts,
    nameless_controls,
    overflowing,
    shown_text,
    small_targets,
)
from tests.unit.render.card_readers import plain

SCRIPT = "<script>alert('x')</script>"
WIDTHS = {"phone": PHONE, "narrow phone": {"width": 320, "height": 640}, "A4": A4_AT_96_DPI}
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_sticks_out_at_the_side(mill: Mill, page_of: PageMaker, width: str) -> None:
    page = page_of(WIDTHS[width], headers=mill.headers | {"Accept": "text/html"})
    made = mill.opened()
    page.goto(f"{mill.url}/v1/work-orders/{made['id']}/instructions")
    assert overflowing(page) == []
    assert page.locator(".step").count() == len(made["instructions"]["steps"])


@pytest.mark.parametrize("path", ["/", *(f"/docs/{name}".rstrip("/") for name in docs.PAGES)])
def test_the_documentation_fits_a_phone_and_can_be_read(mill: Mill, page_of: PageMaker, path: str) -> None:
    page = page_of(PHONE)
    page.goto(f"{mill.url}{path}")
    assert overflowing(page) == [] and low_contrasts(page) == []
    levels = heading_levels(page)
    assert levels[0] == 1 and all(after <= before + 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("width", [320, 720, 1100, 1280])
def test_settings_and_addresses_stay_within_every_screen(mill: Mill, page_of: PageMaker, width: int) -> None:
    """The widest tables: names that must not be broken, beside sentences."""
    page = page_of({"width": width, "height": 900})
    for name in ("operate", "addresses", "books", "problems"):
        page.goto(f"{mill.url}/docs/{name}")
        assert overflowing(page) == [], name


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_every_number_of_the_json_is_shown(mill: Mill, page_of: PageMaker, units: str) -> None:
    made = mill.opened()
    path = f"/v1/work-orders/{made['id']}/instructions?units={units}&level=full"
    page = page_of(PHONE, headers=mill.headers | {"Accept": "text/html"})
    page.goto(mill.url + path)
    shown = shown_text(page)
    wanted = set(texts(mill.json(path.removesuffix("&level=full"))))
    assert len(wanted) > 40 and {text for text in wanted if text not in shown} == set()


def test_the_page_can_be_used_by_keyboard_and_read_by_a_screen_reader(mill: Mill, page_of: PageMaker) -> None:
    page = page_of(PHONE, headers=mill.headers | {"Accept": "text/html"})
    page.goto(f"{mill.url}/v1/work-orders/{mill.opened(known_fan(role='locating'))['id']}/instructions")
    assert low_contrasts(page) == []
    assert nameless_controls(page) == []
    assert small_targets(page) == 0
    levels = heading_levels(page)
    assert levels[0] == 1 and levels.count(1) == 1 and all(after <= before + 1 for before, after in pairwise(levels))
    assert page.locator("html").get_attribute("lang") == "en" and page.title()
    assert page.get_by_role("main").count() == 1 and page.get_by_role("navigation").count() == 1
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.tagName") == "A"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_the_numbers_to_measure_and_leave_are_larger_than_the_text_around_them(mill: Mill, page_of: PageMaker) -> None:
    page = page_of(PHONE, headers=mill.headers | {"Accept": "text/html"})
    page.goto(f"{mill.url}/v1/work-orders/{mill.opened()['id']}/instructions")
    assert page.locator(".value.large").count() >= 2
    size = "each => parseFloat(getComputedStyle(each).fontSize)"
    assert page.locator(".value.large").first.evaluate(size) >= 1.4 * page.locator("main p").first.evaluate(size)


def test_a_script_as_a_name_does_not_run(mill: Mill, page_of: PageMaker) -> None:
    """The fixture fails on any dialog, and on anything that the policy of the page had to stop."""
    made = mill.opened(fan() | {"tag": SCRIPT, "name": f"<img src=x onerror=alert(1)>{SCRIPT}"})
    page = page_of(PHONE, headers=mill.headers | {"Accept": "text/html"})
    page.goto(f"{mill.url}/v1/work-orders/{made['id']}/instructions")
    assert SCRIPT in shown_text(page)
    assert page.locator("script, img").count() == 0


def printed(page: Any, paper: str) -> Any:
    """The page as it comes out of a printer."""
    return pypdfium2.PdfDocument(page.pdf(format=paper, prefer_css_page_size=False, print_background=False))


@pytest.mark.parametrize("paper", PAPERS)
def test_the_page_prints_on_paper_in_black_and_white(mill: Mill, page_of: PageMaker, paper: str) -> None:
    made = mill.opened()
    page = page_of(A4_AT_96_DPI, headers=mill.headers | {"Accept": "text/html"})
    page.goto(f"{mill.url}/v1/work-orders/{made['id']}/instructions")
    said = said_on_paper(page, paper)
    assert "HOLD 1" in said and "HOLD 9" in said and "row 1" in said


@pytest.mark.parametrize("paper", PAPERS)
def test_every_number_is_on_the_paper_of_the_full_card(mill: Mill, page_of: PageMaker, paper: str) -> None:
    made = mill.opened()
    page = page_of(A4_AT_96_DPI, headers=mill.headers | {"Accept": "text/html"})
    page.goto(f"{mill.url}/v1/work-orders/{made['id']}/instructions?level=full")
    said = said_on_paper(page, paper)
    numbers = set(texts(mill.json(f"/v1/work-orders/{made['id']}/instructions")))
    assert {number for number in numbers if number.replace(" ", "") not in said.replace(" ", "")} == set()


def said_on_paper(page: Any, paper: str) -> str:
    """The words of a page as it prints, after a look at its paper: the size, no colour, nothing cut at the edge."""
    document = printed(page, paper)
    try:
        assert 3 <= len(document) <= 25
        for number in range(len(document)):
            image = document[number].render(scale=0.6).to_pil().convert("RGB")
            assert image.size == pytest.approx([0.6 * each for each in PAPERS[paper]], abs=2)
            assert all(max(colour) - min(colour) <= 12 for _, colour in image.getcolors(1 << 20)), "black and white"
            edge = image.crop((0, 0, 12, image.height)).getcolors()
            assert [colour for _, colour in edge] == [(255, 255, 255)], "nothing is cut at the edge"
        return plain(" ".join(document[n].get_textpage().get_text_bounded() for n in range(len(document))))
    finally:
        document.close()


def test_the_qr_codes_lead_to_the_card(mill: Mill, page_of: PageMaker) -> None:
    """Read by an independent reader of ISO/IEC 18004."""
    made = mill.opened()
    path = mill.link(made["id"]).removeprefix(mill.url)
    mill.api.application.config["PUBLIC_URL"] = mill.url
    page = page_of(A4_AT_96_DPI, headers=mill.headers | {"Accept": "text/html"})
    card = f"{mill.url}/v1/work-orders/{made['id']}/instructions"
    page.goto(card)
    shown = Image.open(BytesIO(page.locator(".code").screenshot())).convert("L").resize((512, 560))
    document = pypdfium2.PdfDocument(mill.api.get(f"{path}?as=pdf").data)
    try:
        on_paper = [document[number].render(scale=3).to_pil() for number in range(len(document))]
    finally:
        document.close()
    for images, address in (([shown], f"{card}/1"), (on_paper, mill.url + path)):
        assert {code.text for image in images for code in zxingcpp.read_barcodes(image)} == {address}
