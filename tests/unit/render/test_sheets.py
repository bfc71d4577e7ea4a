"""The sheets read back from their PDF: every number and hold of the plan, nothing outside its box, no text on another.

Budgets, the order of lines and the nine holds are those that the order of work asks for; a box of 188 x 257 mm fits
Letter (215.9 x 279.4 mm) and A4 (ISO 216) alike. 22216 K/C3: ISO 5753-1, 0.095 to 0.120 mm.
"""

import re
from collections.abc import Callable
from functools import cache
from itertools import combinations
from typing import Any

import pypdfium2
import pytest

from service import units
from service.mounting.clearance import Measured
from service.render.card.shaft_line import Shaft
from service.render.markup import content_policy
from service.render.pages.sheets import sheets_page
from service.render.pdf.document import SIZES
from service.render.pdf.fonts import width_of
from service.render.pdf.sheets.document import pages_of, pdf_sheets
from service.render.pdf.sheets.page import BOX_HEIGHT, BOX_WIDTH, Page
from service.render.pictures.drawing import Box, Circle, Line, Path, Shape, Words
from service.render.present import quantity_text, site_text
from service.render.sheets.figures import Figures, pattern
from service.units import Quantity
from tests.unit.instructions.machines import (
    BEARING,
    NARROW_516,
    asset,
    complete_fan,
    dryer_fan,
    leaves,
    plan_of,
    position,
    two_locating,
    unknown_machine,
)
from tests.unit.render.card_readers import Page as Html
from tests.unit.render.card_readers import plain

REVISION = {
    "id": "01a00000-0000-7000-8000-000000000001",
    "revision": 2,
    "created_at": "2026-01-07T06:30:00Z",
    "sha256": "ab" * 32,
    "external": {"system": "plant-a", "number": "WO-10231"},
}
ADDRESS = "https://mill.example/v1/work-orders/01a00000-0000-7000-8000-000000000001/instructions/2"


def three_supports() -> dict[str, Any]:
    known = {"bearing": BEARING, "housing": NARROW_516, "seat": "adapter_sleeve", "locknut_side": "plus"}
    return asset(
        *(position(name, at, **known) for name, at in (("tail", 0.0), ("middle", 2.0), ("drive", 4.0))),
        drives=[{"at": units.distance(4400.0), "kind": "coupling"}],
        shaft={"material": "carbon_steel", "temperature": units.temperature(80.0)},
        base={"material": "concrete", "temperature": units.temperature(20.0)},
    )


def overloaded() -> dict[str, Any]:
    """A cap bolt of property class 4.6 that the torque of the block would break."""
    bolts = {"thread": "M10", "grade": "4.6", "count": 2, "lubrication": "oiled"}
    return dryer_fan(cap_bolts=bolts)


READ_ALIKE = Measured(((101_600,), (101_600,)))
APART = Measured(((100_000,), (120_000,)))
Made = tuple[dict[str, Any], tuple[str, ...], dict[str, Any]]
CASES: dict[str, Callable[[], Made]] = {
    "two": lambda: (complete_fan(), ("tail", "drive"), {}),
    "two, metric": lambda: (complete_fan(), ("tail", "drive"), {"system": "metric"}),
    "one": lambda: (complete_fan(), ("tail",), {}),
    "held alone": lambda: (complete_fan(), ("drive",), {"system": "metric"}),
    "three": lambda: (three_supports(), ("tail", "middle", "drive"), {"system": "metric"}),
    "middle of three": lambda: (three_supports(), ("middle",), {}),
    "ball": lambda: (dryer_fan(bearing={"designation": "2216 K/C3"}), ("tail", "drive"), {}),
    "cylindrical": lambda: (
        dryer_fan(bearing={"designation": "22216/C3"}, seat="cylindrical"),
        ("tail", "drive"),
        {"system": "metric"},
    ),
    "withdrawal": lambda: (dryer_fan(seat="withdrawal_sleeve"), ("tail", "drive"), {}),
    "journal": lambda: (dryer_fan(seat="tapered_journal"), ("tail", "drive"), {"system": "metric"}),
    "large": lambda: (dryer_fan(None, bearing={"designation": "22244 K/C3"}), ("tail", "drive"), {}),
    "unknown": lambda: (unknown_machine(), ("north", "south"), {}),
    "stop": lambda: (two_locating(), ("tail", "drive"), {}),
    "bolts stop": lambda: (overloaded(), ("tail", "drive"), {"system": "metric"}),
    "inspection": lambda: (dryer_fan(), ("tail",), {"kind": "inspection"}),
    "measured": lambda: (complete_fan(), ("tail", "drive"), {"measured": {"drive": READ_ALIKE}}),
    "rows apart": lambda: (complete_fan(), ("tail", "drive"), {"system": "metric", "measured": {"drive": APART}}),
    "long names": lambda: (_long_names(), ("gearbox side of the dryer", "far side"), {"system": "metric"}),
}


def _long_names() -> dict[str, Any]:
    document = complete_fan()
    for each, name in zip(document["shafts"][0]["positions"], ("far side", "gearbox side of the dryer"), strict=True):
        each["name"] = name
    return document | {"name": "Second vacuum pump of the press section, north aisle, with its long, long name"}


@cache
def made(name: str) -> tuple[dict[str, Any], Shaft, str]:
    """The record of a case, its shaft and the unit system of its reader."""
    document, names, more = CASES[name]()
    system = more.get("system", "inch")
    shaft = document["shafts"][0]
    record = {**plan_of(document, *names, **more), **REVISION}
    return record, Shaft("main", shaft["positions"], shaft.get("drives", ())), system


@cache
def pdf_of(name: str, *, paper: str = "letter", level: str = "brief") -> bytes:
    record, shaft, system = made(name)
    return pdf_sheets(record, units=system, shaft=shaft, address=ADDRESS, paper=paper, level=level)  # type: ignore[arg-type]


@cache
def texts(pdf: bytes) -> list[str]:
    """The text of each page, on one line."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [plain(page.get_textpage().get_text_bounded()) for page in document]
    finally:
        document.close()


@cache
def laid_out(name: str, level: str = "brief") -> list[Page]:
    record, shaft, system = made(name)
    return pages_of(record, units=system, shaft=shaft, address=ADDRESS, level=level)  # type: ignore[arg-type]


@pytest.fixture(params=CASES, ids=lambda name: name.replace(" ", "-"))
def name(request: pytest.FixtureRequest) -> str:
    return request.param  # type: ignore[no-any-return]


# what must be reached


@pytest.mark.parametrize(("case", "pages", "words"), [("two", 4, 2000), ("two, metric", 4, 2000), ("one", 3, 1500)])
def test_the_sheets_keep_their_budget(case: str, pages: int, words: int) -> None:
    found = texts(pdf_of(case))
    assert len(found) <= pages
    assert len(" ".join(found).split()) <= words


def test_two_bearings_are_signed_eleven_times_at_nine_holds() -> None:
    """Ten lines, H4 twice, and H1 again before the recheck."""
    document = pypdfium2.PdfDocument(pdf_of("two"))
    try:  # the strip lies in the last 32 mm of the box, which ends 11 mm above the foot of Letter
        strip = plain(document[0].get_textpage().get_text_bounded(bottom=11 * 72 / 25.4, top=43 * 72 / 25.4))
    finally:
        document.close()
    assert sorted(re.findall(r"HOLD (\d)", strip)) == ["1", "1", "2", "3", "4", "4", "5", "6", "7", "8", "9"]
    assert strip.count("sign") + strip.count("1st") == 11


def test_every_hold_of_the_plan_stands_on_its_line(name: str) -> None:
    record, _, _ = made(name)
    pages = " ".join(texts(pdf_of(name)))
    held = [step for step in record["steps"] if step["hold"] is not None]
    sequence = " ".join(page for page in texts(pdf_of(name)) if "THE SEQUENCE" in page)
    assert len(re.findall(r"HOLD \d", sequence)) == len(held)
    assert {f"HOLD {step['hold']}" for step in held} <= set(re.findall(r"HOLD \d", pages))


def test_every_step_has_its_line_and_every_square_its_bearing(name: str) -> None:
    record, _, system = made(name)
    sequence = " ".join(page for page in texts(pdf_of(name)) if "THE SEQUENCE" in page)
    for step in record["steps"]:
        said = Figures(system).line(step["text"]["brief"])  # type: ignore[arg-type]
        assert plain(f"{step['number']} {said}") in plain(sequence.replace("\u00a0", " "))


# numbers


def numbers_of(record: dict[str, Any], system: str) -> dict[str, list[Quantity]]:
    """The numbers that the first sheet must carry, of every bearing that is worked on."""
    found: dict[str, list[Quantity]] = {}
    for target in record["targets"]:
        for member in ("initial_clearance", "reduction"):
            if target[member] and record["kind"] == "replacement":
                found.setdefault(member, []).extend((target[member]["min"], target[member]["max"]))
        for row in (target["blade_table"] or {}).get("rows") or ():
            found.setdefault("blades", []).extend(row["rows"])
    for free in (record["placement"] or {}).get("free") or ():
        for member in ("gap_aim", "gap_before"):
            if free[member] is not None and free["position"] in record["positions"]:
                found.setdefault(member, []).append(free[member])
    return found


def printed(quantity: Quantity, system: str) -> str:
    return site_text((quantity,), system).rsplit(" ", 1)[0]  # type: ignore[arg-type]


@pytest.mark.parametrize("case", ["two", "two, metric", "one", "held alone", "three", "long names"])
def test_sheet_one_carries_every_number_of_both_ends_as_text(case: str) -> None:
    record, _, system = made(case)
    numbers = " ".join(page for page in texts(pdf_of(case)) if "SHEET 1" in page)
    for member, given in numbers_of(record, system).items():
        missing = [printed(each, system) for each in given if printed(each, system) not in numbers]
        assert not missing, (member, missing)


@pytest.mark.parametrize(
    ("case", "said"), [("two", "55 \u203a 110 \u203a 110"), ("two, metric", "75 \u203a 150 \u203a 150")]
)
def test_a_torque_is_printed_as_its_book_has_it_else_as_a_wrench_can_be_set(case: str, said: str) -> None:
    """110 lbf.ft of the inch housing tables are 149.1 N.m: 5 under 500, nearest."""
    front = texts(pdf_of(case))[0]
    assert front.count(said) == 2
    sequence = texts(pdf_of(case))[1]
    assert f"full again: {said.rsplit(' ', 1)[1]}" in sequence


def test_two_bearings_have_all_their_numbers_on_the_first_page() -> None:
    record, _, system = made("two")
    front = texts(pdf_of("two"))[0]
    for given in numbers_of(record, system).values():
        assert all(printed(each, system) in front for each in given)


def test_limits_of_every_reading_are_printed_somewhere(name: str) -> None:
    record, _, system = made(name)
    said = " ".join(texts(pdf_of(name)))
    for step in record["steps"]:
        asked = step["record"]
        if asked is None or asked["kind"] == "cap_bolt_torque":
            continue
        for each in asked["limits"]:
            if asked["kind"] == "axial_displacement":
                continue  # said as its middle: the zero of the nut is no better known
            for end in (each["min"], each["max"]):
                assert printed(end, system) in said, (step["id"], end)


def test_one_unit_system_is_printed_on_the_sheets() -> None:
    assert not re.search(r"\d (?:mm|N\.m)\b", " ".join(texts(pdf_of("two"))))
    assert not re.search(r"\d (?:in|lbf\.ft)\b", " ".join(texts(pdf_of("two, metric"))))


def test_no_leave_is_printed_before_the_clearance_is_measured() -> None:
    """Only the table says what would be left, row by row; the provisional window of the class is nowhere."""
    record, _, system = made("two")
    target = record["targets"][0]
    provisional = [printed(target["residual_clearance"][end], system) for end in ("min", "max")]
    front = texts(pdf_of("two"))[0]
    assert not [each for each in provisional if each in front]
    measured = texts(pdf_of("measured"))[0]
    assert "0.0020 to 0.0025" in measured  # 0.0040 less 0.0020, and less 0.0015


def test_what_to_aim_at_is_said_once_as_a_blade() -> None:
    """A LEAVE that no blade of the set can show (0.0024 beside the blade of 0.0025) is a second aim in one column."""
    record, _, system = made("measured")
    aims = [each["residual_clearance"]["aim"] for each in record["targets"]]
    (computed,) = {printed(each, system) for each in aims if each is not None}
    front = texts(pdf_of("measured"))[0]
    assert computed not in front
    assert "aim 0.0025" in front  # checks W16: both rows 0.0040, leave 0.0025


def test_a_torque_that_must_not_be_pulled_is_not_printed() -> None:
    record, _, system = made("bolts stop")
    assert [each["code"] for each in record["blocked"]].count("over_proof") == 2
    numbers = next(page for page in texts(pdf_of("bolts stop")) if "SHEET 1" in page)
    torque = printed(record["bolting"][0]["torque"], system)
    assert numbers.count("STOP, see above") == 2
    assert f"\u203a {torque}" not in numbers
    pictures = next(page for page in texts(pdf_of("bolts stop")) if "PICTURES" in page)
    assert "hand half full full" in plain(pictures) and torque not in pictures


def test_stops_stand_before_everything_else(name: str) -> None:
    record, _, _ = made(name)
    first = texts(pdf_of(name))[0]
    for step in record["steps"]:
        if step["stop"] is not None:
            assert plain(step["title"]) in first
            assert first.index(plain(step["title"])) < first.index("ASK FIRST")


def test_everything_not_known_is_asked_with_a_place_to_answer(name: str) -> None:
    record, _, _ = made(name)
    asked = {each["field"] for each in record["missing"]} - {"measured_clearance"}
    assert f"ASK FIRST ({len(asked)} not known)" in texts(pdf_of(name))[0] or not asked


# layout


def extent(mark: Any) -> tuple[float, float, float, float]:
    match mark:
        case Words():
            width = width_of(mark.text, mark.size, mark.bold)
            left = mark.x - {"start": 0.0, "middle": width / 2, "end": width}[mark.anchor]
            return left, mark.y - 0.72 * mark.size, left + width, mark.y + 0.2 * mark.size
        case Line():
            xs, ys = zip(mark.start, mark.end, strict=True)
            return min(xs), min(ys), max(xs), max(ys)
        case Box():
            half = mark.stroke / 2
            return mark.x - half, mark.y - half, mark.x + mark.width + half, mark.y + mark.height + half
        case Circle():
            (x, y), reach = mark.centre, mark.radius + mark.stroke / 2
            return x - reach, y - reach, x + reach, y + reach
        case Path() | Shape():
            xs, ys = zip(*mark.points, strict=True)
            return min(xs), min(ys), max(xs), max(ys)
    raise AssertionError(mark)


@pytest.mark.parametrize("level", ["brief", "full"])
def test_nothing_leaves_the_box_of_188_by_257_mm(name: str, level: str) -> None:
    for number, page in enumerate(laid_out(name, level), start=1):
        for mark in page.marks:
            left, top, right, low = extent(mark)
            assert left >= -1.2 and top >= -7 and right <= BOX_WIDTH + 1.2 and low <= BOX_HEIGHT + 1.2, (number, mark)


@pytest.mark.parametrize("level", ["brief", "full"])
def test_no_text_lies_on_another(name: str, level: str) -> None:
    for number, page in enumerate(laid_out(name, level), start=1):
        words = [(mark, extent(mark)) for mark in page.marks if isinstance(mark, Words)]
        words.sort(key=lambda each: each[1][1])
        for (one, a), (other, b) in combinations(words, 2):
            if b[1] > a[3]:
                continue
            across = min(a[2], b[2]) - max(a[0], b[0])
            along = min(a[3], b[3]) - max(a[1], b[1])
            assert across <= 0.8 or along <= 1.6, (number, one.text, other.text)


def test_every_number_is_bold_and_large_enough_for_a_copy_of_a_copy(name: str) -> None:
    for page in laid_out(name):
        for mark in page.marks:
            if isinstance(mark, Words) and re.search(r"\d", mark.text):
                assert mark.bold and mark.size >= 9.0, mark
            if isinstance(mark, Words) and re.search(r"\d\.\d", mark.text):
                assert mark.size >= 9.4, mark


def test_black_areas_stay_small_for_they_smear(name: str) -> None:
    """Nothing filled is wider and higher than 5 mm; no grey is there at all."""
    for page in laid_out(name):
        for mark in page.marks:
            if isinstance(mark, Box) and mark.fill == "black":
                assert min(mark.width, mark.height) <= 5 / 25.4 * 72
            assert getattr(mark, "fill", "none") in ("none", "white", "black")


@pytest.mark.parametrize("paper", SIZES)
def test_the_pdf_is_the_same_bytes_each_time_and_fills_its_paper(name: str, paper: str) -> None:
    pdf = pdf_of(name, paper=paper)
    assert pdf_of.__wrapped__(name, paper=paper) == pdf
    document = pypdfium2.PdfDocument(pdf)
    try:
        assert {page.get_size() for page in document} == {SIZES[paper]}  # type: ignore[index]
    finally:
        document.close()


def test_sheet_three_has_a_form_for_every_bearing_the_whole_log_and_hand_back(name: str) -> None:
    """Readings every 15 minutes in the first hour, then every 30 to 360; the stop limit before the first of them."""
    record, _, _ = made(name)
    said = " ".join(page for page in texts(pdf_of(name)) if "SHEET 3" in page)
    supports = record["arrangement"]["supports"]
    assert said.count("Ring moves by hand") == said.count("seen from the nut") == len(supports)
    for each in ("start", "15 min", "30", "45", "1 h", "1 h 30", "2 h", "5 h 30", "6 h"):
        assert each in said
    assert said.index("stop limit") < said.index("15 min")
    for each in ("Vibration", "Bolts, locked out again", "Grease used", "Done otherwise than planned", "locks off"):
        assert each in said


# blanks


@pytest.mark.parametrize(
    ("low", "high", "decimals", "expected"),
    [
        ("2.6835", "2.6875", 4, "2.6___"),  # a shaft 0.006 too thin can still be written
        ("0.0037", "0.0047", 4, "0.00__"),
        ("0.0080", "0.0100", 4, "0.0___"),
        ("68.161", "68.263", 2, "68.__"),
        ("0.105", "0.360", 3, "0.___"),
        ("2.6", "9.1", 1, "__._"),
        ("0.50", "0.90", 2, "_.__"),
    ],
)
def test_a_blank_prints_the_digits_that_all_limits_share_and_the_point(
    low: str, high: str, decimals: int, expected: str
) -> None:
    assert pattern(low, high, decimals) == expected


def test_every_blank_on_the_sheets_carries_its_point_and_a_unit() -> None:
    front = texts(pdf_of("two"))[0]
    assert front.count("row 1 0.00 in") == front.count("row 2 0.00 in") == 4
    assert front.count("smallest 2.6 in") == front.count("largest 2.6 in") == 2


def test_the_picture_of_a_stack_shows_one_of_this_job() -> None:
    """0.0020 and 0.0015 in make 0.0035."""
    pictures = texts(pdf_of("two"))[2]
    assert "0.002 + 0.0015" in pictures and "the stack shows 0.0035" in pictures


# levels


def test_levels_add_texts_reasons_and_every_figure() -> None:
    record, _, system = made("two")
    brief, standard, full = (" ".join(texts(pdf_of("two", level=level))) for level in ("brief", "standard", "full"))
    assert len(brief.split()) < len(standard.split()) < len(full.split())
    step = next(each for each in record["steps"] if each["id"] == "lower")
    assert (
        "never forced" in str(step["text"]["standard"]) and "never forced" in standard and "never forced" not in brief
    )
    assert record["sha256"] in full.replace(" ", "") and record["sha256"] not in standard.replace(" ", "")
    for member in ("arrangement", "placement", "bolting"):
        squeezed = full.replace(" ", "")
        for leaf in leaves({key: value for key, value in _without_findings(record[member]).items()}):
            assert quantity_text(leaf, system).replace(" ", "") in squeezed, leaf  # type: ignore[arg-type]


def _without_findings(node: Any) -> dict[str, Any]:
    """A record without its findings, whose numbers stand in sentences."""
    if isinstance(node, list):
        return {str(n): _without_findings(each) for n, each in enumerate(node)}
    out = ("missing", "warnings", "blocked", "sources")
    return {key: value for key, value in node.items() if key not in out}


def test_what_lies_first_on_the_bench_is_never_the_small_print() -> None:
    sheets = " ".join(texts(pdf_of("two")))
    for word in ("sha256", "engine", "provisional", "preload", "hoop", "proof", "iso-5753"):
        assert word not in sheets


# the print view


def test_the_print_view_has_the_words_of_the_pdf_and_runs_no_script(name: str) -> None:
    record, shaft, system = made(name)
    html = sheets_page(record, units=system, shaft=shaft, address=ADDRESS)  # type: ignore[arg-type]
    page = Html(html)
    assert page.faults == [] and not page.all("script")
    in_pdf = set(" ".join(texts(pdf_of(name))).split())
    in_html = set(plain(" ".join(page.pictures)).split())
    lost = {word for word in in_pdf if re.search(r"\d\.\d", word)} - in_html
    assert not {word for word in lost if word not in "".join(page.pictures)}
    assert html.count("<svg") == len(texts(pdf_of(name)))
    assert "sha256-" in content_policy("sheets.css")


def test_left_on_paper_is_left_on_the_machine() -> None:
    front = laid_out("two")[0]
    heads = {mark.text: mark.x for mark in front.marks if isinstance(mark, Words) and mark.text in ("tail", "drive")}
    assert heads["tail"] < heads["drive"]  # tail stands at 0 m, drive at 3 m
    assert "Drive on your right" in texts(pdf_of("two"))[0]
