"""The text card: full holds every value of the plan in both unit systems, brief every hold and one line a step.

Nothing is said twice, cautions stand at the head of their phase, STOPs and open red questions before all else: the
order of work asks for it. 22216 K/C3: ISO 5753-1, 0.095 to 0.120 mm.
"""

import re
from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service import units
from service.mounting.clearance import Measured
from service.render.card.text import card
from service.render.present import quantity_text, text
from service.render.sheets.figures import Figures
from service.words import LEVELS
from tests.unit.instructions.machines import (
    INCH_516,
    WIDE_516,
    complete_fan,
    dryer_fan,
    leaves,
    plan_of,
    two_locating,
    unknown_machine,
    words,
)

WRENCH = {"min": units.torque(30.0), "max": units.torque(300.0)}


def bolted_fan():
    """The fan with its cap bolts and base bolts on record."""
    bolts = {"thread": "5/8-11 UNC", "grade": "SAE J429 5", "count": 2, "lubrication": "dry"}
    return dryer_fan(INCH_516, cap_bolts=bolts, base_bolts={**bolts, "lubrication": "oiled"})


def warm_fan():
    """A fan 12 m long, set while its shaft is still warm, on seals that allow less than the seat."""
    document = dryer_fan(seal_travel=units.dimension(9.8), locknut_side="plus")
    shaft = document["shafts"][0]
    shaft["positions"][1]["at"] = units.distance(12_000.0)
    shaft["drives"] = [{"at": units.distance(12_400.0), "kind": "coupling"}]
    shaft |= {"setting_temperature": units.temperature(35.0), "axial_load": units.force(2000.0)}
    return document


PLANS = {
    "as opened": lambda: plan_of(dryer_fan(), "tail"),
    "both bearings": lambda: plan_of(dryer_fan(WIDE_516), "tail", "drive", system="metric"),
    "all known": lambda: plan_of(complete_fan(), "tail", "drive"),
    "measured": lambda: plan_of(complete_fan(), "tail", measured={"tail": Measured(((101_600,), (101_600,)))}),
    "blocked": lambda: plan_of(two_locating(), "tail"),
    "nothing known": lambda: plan_of(unknown_machine(), "north"),
    "inspection": lambda: plan_of(dryer_fan(), "tail", kind="inspection"),
    "bolts and wrench": lambda: plan_of(bolted_fan(), "tail", wrench=WRENCH),
    "warm shaft": lambda: plan_of(warm_fan(), "tail", "drive"),
    "ball bearing": lambda: plan_of(dryer_fan(bearing={"designation": "2216 K/C3"}), "tail"),
}
REVISION = {
    "id": "01a00000-0000-7000-8000-000000000001",
    "revision": 2,
    "supersedes": 1,
    "created_at": "2026-01-07T06:30:00Z",
    "sha256": "ab" * 32,
    "external": {"system": "plant-a", "number": "WO-10231"},
}


@pytest.fixture(scope="module", params=PLANS, ids=lambda name: name.replace(" ", "-"))
def made(request):
    return {**PLANS[request.param](), **REVISION}


def normalised(text):
    """The card on one line, without the border of the alert box."""
    return " ".join(re.sub(r"(?m)^# ?", "", text).split())


def spoken(text):
    """Words with blanks for underscores: the card says ``spherical roller``."""
    return " ".join(text.replace("_", " ").split())


def told(plan):
    """What of a plan is words for people: brief lines give way to standard texts, answered questions are no news."""
    steps = [
        {
            "said": [each["title"], each["text"]["standard"], each["text"]["full"]],
            **{name: each[name] for name in ("by_position", "cautions", "tools", "parts", "rule", "sources", "id")},
        }
        for each in plan["steps"]
    ]
    planning = plan["planning"]
    needs = [each["said"] for each in (*planning["parts"], *planning["tools"])]
    asked = [each["question"].rstrip("?") for each in open_questions(plan)]
    kept = ("blocked", "missing", "warnings", "sources", "targets", "arrangement", "bolting", "base_bolts")
    return [steps, needs, asked, {name: plan[name] for name in kept}]


def open_questions(plan):
    return [each for each in plan["readiness"] if (each["colour"], each["status"]) == ("red", "open")]


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("width", [40, 72, 132])
def test_every_number_of_the_plan_is_on_the_card_in_full(made, system, width):
    printed = normalised(card(made, units=system, width=width, level="full"))
    numbers = set(leaves(made))
    lost = [each for each in numbers if quantity_text(each, system) not in printed]
    assert not lost
    if made["arrangement"]["supports"][0]["travel"]:
        assert len(numbers) > 20


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_every_word_of_the_plan_is_on_the_card_in_full(made, system):
    printed = spoken(normalised(card(made, units=system, width=132, level="full")))
    nested = ("supports/0/", "supports/1/")  # paths inside the arrangement; the plan names the position instead
    assert not [
        said
        for said in words(told(made))
        if spoken(said) not in printed and not said.startswith(nested) and spoken(said)
    ]


@pytest.mark.parametrize("level", LEVELS)
def test_every_hold_of_the_plan_is_marked_once_at_its_step_and_signed(made, level):
    printed = normalised(card(made, units="inch", width=132, level=level))
    holds = [str(each["hold"]) for each in made["steps"] if each["hold"] is not None]
    assert re.findall(r"HOLD (\d) (?:\S+ )*?_+", printed) == holds
    assert printed.count("approved by ____") == len([each for each in made["steps"] if each["stop"]])
    if made["kind"] == "replacement" and not made["blocked"]:
        assert set(holds) >= set("12346789")  # 5 falls away where a shoulder gives the place


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_brief_has_one_line_a_step_in_the_units_of_the_reader(made, system):
    printed = normalised(card(made, units=system, width=72, level="brief"))
    for each in made["steps"]:
        assert f"{each['number']} {' '.join(Figures(system).line(each['text']['brief']).split())}." in printed
    other = {"inch": r"\d (?:mm|N\.m)\b", "metric": r"\d (?:in|lbf\.ft)\b"}[system]
    if system == made["units"]:  # else the blades are those of the site, as stamped
        assert not re.search(other, printed)


def test_every_end_has_its_square_at_each_step_that_is_done_there():
    made = {**PLANS["all known"](), **REVISION}
    printed = card(made, units="inch", width=132, level="standard").split("STEPS")[1]
    for each in made["steps"]:
        line = next(line for line in printed.splitlines() if line.startswith(f"{each['number']:<4} "))
        assert re.findall(r"\[ \] (\w+)", line) == each["positions"]
    brief = card(made, units="inch", width=132, level="brief").split("STEPS")[1]
    assert brief.startswith(": [ ][ ] drive, tail")
    both = [each for each in made["steps"] if each["per"] == "each"]
    assert brief.count("[ ][ ]") == len(both) + 1


@pytest.mark.parametrize("level", ["standard", "full"])
def test_no_sentence_of_a_step_and_no_caution_is_said_twice(made, level):
    printed = normalised(card(made, units="metric", width=132, level=level))
    said = [each["text"]["standard"] for each in made["steps"]]
    said += [beside["text"] for each in made["steps"] for beside in each["by_position"]]
    wanted = Counter(text(each, "metric") for each in said)
    for sentence, count in wanted.items():
        assert printed.count(" ".join(sentence.split())) == count or len(sentence) < 30, sentence
    for caution in {text(one, "metric") for each in made["steps"] for one in each["cautions"]}:
        assert printed.count(" ".join(caution.split())) == 1, caution


def test_each_level_says_more_than_the_one_before(made):
    sizes = [len(card(made, units="inch", level=level).split()) for level in LEVELS]
    assert sizes == sorted(sizes) and sizes[0] * 1.5 < sizes[1] and sizes[1] * 1.5 < sizes[2]
    assert card(made, units="inch") == card(made, units="inch", level="standard")


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("width", [40, 41, 59, 60, 72, 132])
def test_the_card_keeps_within_its_width_and_seven_bits(made, system, level, width):
    text = card(made, units=system, width=width, level=level)
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= width
    assert "None" not in text and "\\u" not in text


@pytest.mark.parametrize("level", LEVELS)
def test_no_line_ends_between_a_number_and_its_unit(made, level):
    units_printed = {"mm", "in", "N.m", "lbf.ft", "kN", "lbf", "MPa", "psi", "degC", "degF", "K", "degF_diff", "%"}
    for width in range(40, 133, 4):
        for before, after in _neighbours(card(made, units="metric", width=width, level=level)):
            number = re.fullmatch(r"\(?-?\d+(\.\d+)?", before)
            assert not (number and re.sub(r"[).,;:]+$", "", after) in units_printed), (before, after)


def _neighbours(text):
    """The last word of each line and the first of the next."""
    lines = [line.split() for line in text.splitlines()]
    return [(a[-1], b[0]) for a, b in pairwise(lines) if a and b]


@pytest.mark.parametrize("level", LEVELS)
def test_what_stops_or_is_asked_comes_first_then_numbers_then_steps(made, level):
    text = card(made, units="inch", level=level)
    titles = ("STOP: THIS", "ASK FIRST", "NUMBERS", "STEPS", "NOT KNOWN", "PARTS", "TOOLS", "EVERY FIGURE", "SOURCES")
    places = [text.index(f"\n{title}") for title in titles if f"\n{title}" in text]
    assert places == sorted(places) and len(places) >= (3 if level != "full" else 7)
    for key in {each["id"] for each in open_questions(made)}:
        assert re.search(rf"\n\? {key}\b", text[: text.index("\nNUMBERS")])
    assert text.index("\nSTEPS") < text.index("29 CFR 1910.147")


def test_lock_out_is_said_before_the_first_step(made):
    """29 CFR 1910.147, the control of hazardous energy."""
    for level in LEVELS:
        steps = card(made, units="inch", level=level).split("\nSTEPS")[1]
        assert steps.index("29 CFR 1910.147") < steps.index("\n10 ")


def test_figures_that_no_hand_needs_stand_in_the_annex_alone(made):
    body, annex = card(made, units="metric", width=132, level="full").split("\nEVERY FIGURE BEHIND THIS CARD")
    for behind in (
        "nut factor K",
        "preload of a bolt",
        "if both ends were held",
        "another decision",
        "gaps in service",
    ):
        assert behind not in body
    if made["arrangement"]["held_force"] is not None:
        assert "force in the shaft if both ends were held (upper bound): " in normalised(annex)
    standard = card(made, units="metric", width=132)
    assert "sha256" in standard and "EVERY FIGURE" not in standard


def test_figures_that_are_alike_at_both_ends_stand_once():
    annex = normalised(card(PLANS["all known"](), units="metric", width=132, level="full")).split("EVERY FIGURE")[1]
    assert annex.count("hoop stress in the bore") == 1
    assert "tail, drive: bearing designation: 22216 K/C3" in annex


def test_no_leave_is_printed_before_the_clearance_is_measured():
    """0.0040 in measured: leave 0.0020 to 0.0025 in (common practice, no source)."""
    made = PLANS["all known"]()
    provisional = made["targets"][0]["residual_clearance"]
    assert provisional["provisional"]
    for level in ("brief", "standard"):
        printed = card(made, units="inch", level=level)
        assert not [end for end in ("min", "max") if Figures("inch").number(provisional[end]) in printed]
    measured = normalised(card(PLANS["measured"](), units="inch", level="brief"))
    assert "3 Leave: never below 0.0016; 0.0020 to 0.0025" in measured


def test_the_numbers_say_what_to_do_in_plain_words():
    printed = normalised(card(PLANS["bolts and wrench"](), units="inch", level="brief"))
    numbers = printed[printed.index("NUMBERS") : printed.index("STEPS")]
    for said in (
        "tail: FREE, 22216 K/C3; drive: HELD",
        "1 Initial: 0.0037 to 0.0047; mark (C3)",
        "5 Free, no ring. Gap",
        "6 Cap bolts 2 x 5/8-11 UNC, SAE J429 5: 55 > 110 > 110, order 1, 2",
        "base bolts, half first",
    ):
        assert said in numbers


def test_what_is_equal_at_both_ends_is_said_once_and_written_at_each():
    printed = normalised(card(PLANS["all known"](), units="inch", level="brief"))
    numbers = printed[printed.index("NUMBERS") : printed.index("STEPS")]
    assert numbers.count("0.0037 to 0.0047") == numbers.count("2 Take away: 0.0015 to 0.0020") == 1
    assert numbers.count("row 1 0.00__ in") == numbers.count("row 2 0.00__ in") == 4


def test_order_and_revision_head_the_card_and_its_hash_ends_it(made):
    text = card(made, units="inch")
    head = text.split("ASK FIRST")[0]
    for said in ("WO-10231", "plant-a", "MIX-7", "Revision 2", "replaces 1", "2026-01-07 06:30 UTC"):
        assert said in head
    assert "ab" * 32 in text.splitlines()[-1]


def test_a_blocked_plan_says_stop_before_any_number():
    for level in LEVELS:
        text = card(PLANS["blocked"](), units="metric", level=level)
        assert text.index("STOP: THIS MUST NOT BE DONE LIKE THIS") < text.index("\nNUMBERS")
        assert "way out: " in text
        step = next(each for each in PLANS["blocked"]()["steps"] if each["stop"] == "cross_located")
        assert f"# step {step['number']}: cross_located: " in text
        assert "tail: OPEN" in text and "drive: OPEN" in text  # no ring is set by roles that contradict each other


@pytest.mark.parametrize("width", [39, 133, 0])
def test_a_width_that_cannot_be_read_is_refused(width):
    with pytest.raises(ValueError, match="40 to 132"):
        card(PLANS["as opened"](), units="inch", width=width)


@settings(max_examples=25, deadline=None)
@given(name=st.text(min_size=1, max_size=80), width=st.sampled_from([40, 72]))
def test_no_name_breaks_the_card(name, width):
    document = unknown_machine()
    document |= {"tag": name, "name": name}
    document["shafts"][0]["positions"][0]["name"] = name
    document["shafts"][0]["positions"][1]["name"] = f"{name} 2"
    text = card(plan_of(document, name), units="metric", width=width)
    assert text.isascii()
    assert all(line.isprintable() and len(line) <= width for line in text.splitlines())


def test_letters_of_another_script_stay_when_they_may():
    document = unknown_machine() | {"tag": "风机", "name": "Lüfter"}
    made = plan_of(document, "north")
    assert "风机" in card(made, units="metric", ascii=False)
    assert "Lufter" in card(made, units="metric", ascii=True)
