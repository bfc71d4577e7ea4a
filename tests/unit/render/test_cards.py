"""HTML and markdown say the same as the record: every number with its unit, every word, nothing of their own."""

import re
from html import unescape
from itertools import pairwise

import pytest
import segno
from markdown_it import MarkdownIt

from service.mounting.clearance import Measured
from service.render.card.html import html_card
from service.render.card.markdown import markdown_card
from service.render.card.shaft_line import Shaft
from service.render.card.text import card
from service.render.markup import content_policy, qr_code, style
from service.render.pdf.fonts import latin, width_of
from service.render.present import quantity_text
from tests.unit.instructions.machines import complete_fan, leaves, plan_of, unknown_machine, words
from tests.unit.render.card_readers import Page, html_text, markdown_text, plain
from tests.unit.render.test_text_card import PLANS, REVISION

ADDRESS = "https://mill.example/v1/work-orders/01a00000-0000-7000-8000-000000000001/instructions/2"
HOSTILE = "<script>alert(1)</script>\"'&--><![CDATA[ `*_[x](javascript:y)"


def shaft_of(plan):
    """The shaft of a plan, with no places known."""
    supports = plan["arrangement"]["supports"] if plan["arrangement"] else []
    return Shaft("main", [{"name": each["name"]} for each in supports])


def as_html(plan, units):
    return html_card(plan, units=units, shaft=shaft_of(plan), address=ADDRESS)


def as_markdown(plan, units):
    return markdown_card(plan, units=units, address=ADDRESS)


READ = {
    "html": lambda plan, units: html_text(as_html(plan, units)),
    "markdown": lambda plan, units: markdown_text(as_markdown(plan, units)),
}


@pytest.fixture(scope="module", params=PLANS, ids=lambda name: name.replace(" ", "-"))
def made(request):
    return {**PLANS[request.param](), **REVISION}


def spoken(text):
    """Words with blanks for underscores, however lines were broken."""
    return re.sub(r"\s+", "", text.replace("_", " ").replace("-", "")).casefold()


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("kind", READ)
def test_every_number_of_the_record_stands_on_the_card_in_both_systems(made, kind, system):
    printed = READ[kind](made, system)
    lost = {quantity_text(each, system) for each in leaves(made) if quantity_text(each, system) not in printed}
    assert not lost


@pytest.mark.parametrize("kind", READ)
def test_every_word_of_the_record_stands_on_the_card(made, kind):
    printed = spoken(READ[kind](made, "inch"))
    nested = ("supports/0/", "supports/1/")  # paths inside the arrangement; the card names the position instead
    assert not [said for said in words(made) if spoken(said) not in printed and not said.startswith(nested)]


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("kind", READ)
def test_no_card_prints_a_number_with_unit_that_the_text_card_does_not_print(made, kind, system):
    """The text card is held against the record by itself; a figure of the layout's own would show here."""
    figure = re.compile(r"(?<![\w.])\d[\d.]* (?:mm|in|N\.m|lbf\.ft|kN|lbf|MPa|psi|degC|degF|deg|rpm)(?![\w.])")
    allowed = set(figure.findall(plain(card(made, units=system, width=132))))
    printed = re.sub(r"row [12] (?=in|mm)", "", READ[kind](made, system))  # lines to write on are drawn, not text
    assert set(figure.findall(printed)) <= allowed


def test_the_page_is_well_formed_without_script_or_outside_asset(made):
    page = Page(as_html(made, "inch"))
    assert page.faults == []
    assert {tag for tag, _ in page.elements} & {"script", "link", "img", "iframe", "object", "form", "base"} == set()
    for tag, attributes in page.elements:
        assert not [name for name in attributes if name.startswith("on") or name in ("style", "src", "srcset")], tag
        assert attributes.get("href", "#").startswith("#")
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {link["href"].removeprefix("#") for link in page.all("a")} <= set(ids)
    assert "url(" not in style("card.css") and "@import" not in style("card.css")


def test_headings_go_down_one_level_at_a_time(made):
    levels = [int(tag[1]) for tag, _ in Page(as_html(made, "inch")).elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


@pytest.mark.parametrize("kind", READ)
def test_cautions_come_first_and_sources_last(made, kind):
    printed = READ[kind](made, "inch")
    titles = [title for title in ("Caution ", "Bolts ", "Steps ", "Sources ") if title in printed]
    places = [
        printed.index("Caution"),
        printed.index("Bearings "),
        printed.rindex("Steps "),
        printed.rindex("Sources "),
    ]
    assert len(titles) == 4 and places == sorted(places)


@pytest.mark.parametrize("kind", READ)
def test_a_blocked_plan_says_stop_before_any_number(kind):
    printed = READ[kind]({**PLANS["blocked"](), **REVISION}, "metric")
    assert printed.index("STOP: this must not be done like this") < printed.index("Bearing tail")
    assert "STOP: two bearings are held" in printed
    assert "STOP: the roles below contradict each other. Set no ring by them." in printed


def test_hold_points_have_a_tick_box_and_a_place_to_sign(made):
    holds = [step for step in made["steps"] if step["hold_point"]]
    html = as_html(made, "inch")
    assert html.count("Signed <span") == len(holds)
    assert html.count('class="step hold"') + html.count('class="step stopstep"') == len(holds)


def test_the_four_numbers_stand_large_and_measured_ones_are_not_left_blank():
    measured = {"tail": Measured(((101_600,), (101_600,)))}
    made = {**plan_of(complete_fan(), "tail", measured=measured), **REVISION}
    numbers = re.findall(r'<p class="value">(.*?)</p>', as_html(made, "inch"))
    said = [plain(unescape(re.sub(r"<[^>]+>", "", number))) for number in numbers]
    target = made["targets"][0]
    residual, blade = target["residual_clearance"], target["blades"]["target"]
    assert len(said) == 4
    assert said[0].startswith(quantity_text(target["measured"]["value"], "inch"))
    assert said[2] == f"{quantity_text(residual['min'], 'inch')} to {quantity_text(residual['max'], 'inch')}"
    assert said[3] == " + ".join(quantity_text(each, "inch") for each in blade)


@pytest.mark.parametrize("kind", READ)
def test_words_of_callers_mark_up_nothing(kind):
    document = unknown_machine() | {"tag": HOSTILE[:60], "name": HOSTILE}
    document["shafts"][0]["positions"][0]["name"] = HOSTILE
    made = {**plan_of(document, HOSTILE), **REVISION, "external": {"system": HOSTILE, "number": HOSTILE}}
    assert spoken(HOSTILE) in spoken(READ[kind](made, "metric"))
    if kind == "html":
        page = Page(as_html(made, "metric"))
        assert page.faults == [] and not page.all("script")
    if kind == "markdown":
        page = Page(MarkdownIt("commonmark").render(as_markdown(made, "metric")))
        assert not page.all("script") and not page.all("a") and not page.all("em")
        assert len(page.all("code")) == 1  # the address


def test_control_and_direction_characters_do_not_reach_a_card():
    document = unknown_machine() | {"tag": "A\u202eB\x07C", "name": "x\u2066y"}
    made = {**plan_of(document, "north"), **REVISION}
    for read in READ.values():
        assert not {"\u202e", "\u2066", "\x07"} & set(read(made, "metric"))


def test_letters_that_the_fonts_of_the_pdf_lack_are_written_as_on_the_text_card():
    assert latin("Łożysko, Lüfter °C µm") == "Lozysko, Lüfter °C µm"
    assert latin("风机") == "\\u98ce\\u673a"


def test_widths_are_those_of_the_standard_font():
    """Adobe's metrics of the core fonts: Helvetica A 667, i 222; Helvetica-Bold A 722 (units of 1/1000)."""
    assert width_of("A", 1000, False) == pytest.approx(667)
    assert width_of("i", 1000, False) == pytest.approx(222)
    assert width_of("A", 1000, True) == pytest.approx(722)


def test_the_qr_code_is_that_of_the_address_with_a_quiet_zone():
    """ISO/IEC 18004 asks for four modules of quiet zone."""
    size = len(segno.make_qr(ADDRESS, error="m").matrix) + 8
    assert f'viewBox="0 0 {size} {size}"' in qr_code(ADDRESS)
    assert qr_code(ADDRESS) in as_html({**PLANS["as opened"](), **REVISION}, "inch")
    relative = html_card(
        {**PLANS["as opened"](), **REVISION}, units="inch", shaft=None, address="/v1/work-orders/x/instructions/1"
    )
    assert 'class="code"' not in relative


def test_the_policy_allows_this_style_and_nothing_else():
    policy = dict(part.strip().split(" ", 1) for part in content_policy("card.css").split(";"))
    assert policy["default-src"] == policy["form-action"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert policy["style-src"].startswith("'sha256-") and set(policy) == {
        "default-src", "style-src", "form-action", "base-uri", "frame-ancestors",
    }  # fmt: skip
