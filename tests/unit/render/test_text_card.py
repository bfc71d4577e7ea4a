"""The text card holds every value of the plan, in both unit systems, within its width."""

import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service import units
from service.mounting.clearance import Measured
from service.render.card.text import card
from service.render.present import quantity_text
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


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("width", [40, 72, 132])
def test_every_number_of_the_plan_is_on_the_card(made, system, width):
    printed = normalised(card(made, units=system, width=width))
    numbers = set(leaves(made))
    lost = [each for each in numbers if quantity_text(each, system) not in printed]
    assert not lost
    if made["arrangement"]["supports"][0]["travel"]:
        assert len(numbers) > 20


@pytest.mark.parametrize("system", ["inch", "metric"])
def test_every_word_of_the_plan_is_on_the_card(made, system):
    printed = spoken(normalised(card(made, units=system, width=132)))
    nested = ("supports/0/", "supports/1/")  # paths inside the arrangement; the plan names the position instead
    assert not [said for said in words(made) if spoken(said) not in printed and not said.startswith(nested)]


@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("width", [40, 41, 50, 59, 60, 72, 100, 132])
def test_the_card_keeps_within_its_width_and_seven_bits(made, system, width):
    text = card(made, units=system, width=width)
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= width
    assert "None" not in text


def test_no_line_ends_between_a_number_and_its_unit(made):
    units_printed = {"mm", "in", "N.m", "lbf.ft", "kN", "lbf", "MPa", "psi", "degC", "degF", "K", "degF_diff", "%"}
    for width in range(40, 133, 4):
        for before, after in _neighbours(card(made, units="metric", width=width)):
            number = re.fullmatch(r"\(?-?\d+(\.\d+)?", before)
            assert not (number and re.sub(r"[).,;:]+$", "", after) in units_printed), (before, after)


def _neighbours(text):
    """The last word of each line and the first of the next."""
    lines = [line.split() for line in text.splitlines()]
    return [(a[-1], b[0]) for a, b in pairwise(lines) if a and b]


def test_cautions_come_first_and_sources_last(made):
    text = card(made, units="inch")
    places = [text.index(f"\n{title}") for title in ("CAUTION", "CAP BOLTS", "STEPS", "PARTS", "TOOLS", "SOURCES")]
    assert places == sorted(places)
    assert text.index("29 CFR 1910.147") < text.index("BEARING ")


def test_figures_that_no_hand_needs_stand_in_the_annex_alone(made):
    body, annex = card(made, units="metric", width=132).split("\nFIGURES BEHIND THIS CARD\n")
    assert "SOURCES" in body
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


def test_the_strips_say_what_to_do_in_plain_words():
    text = card(PLANS["bolts and wrench"](), units="inch")
    strips = text[text.index("LOCATING AND FREE") : text.index("STEPS")]
    for row in (
        "drive: LOCATING (held): nearest the drive",
        "  Rings              none; the outer ring slides in its seat by hand",
        "  Set it             in the middle of its seat",
        "  Bolts              2 x 5/8-11 UNC, grade SAE J429 5",
        "  Order              1, 2",
        "  Wrench             set to 55 lbf.ft (74.57 N.m) first",
        "BASE BOLTS",
    ):
        assert f"\n{row}" in strips
    assert strips.index("drive: LOCATING") < strips.index("tail: FREE")


def test_order_revision_and_hash_head_the_card(made):
    head = card(made, units="inch").split("CAUTION")[0]
    for said in ("WO-10231", "plant-a", "MIX-7", "Revision 2", "replaces 1", "2026-01-07T06:30:00Z", "ab" * 32):
        assert said in head


def test_a_blocked_plan_says_stop_before_any_number():
    text = card(PLANS["blocked"](), units="metric")
    assert text.index("STOP: THIS MUST NOT BE DONE LIKE THIS") < text.index("\nBEARING tail")
    assert "STOP: two bearings are held" in text
    assert "STOP: the roles below contradict each other. Set no ring by them." in normalised(text)


def test_hold_points_are_marked_and_signed(made):
    text = card(made, units="inch")
    holds = [each for each in made["steps"] if each["hold_point"]]
    assert text.count("Signed ____") == len(holds)
    assert text.count("[ ] HOLD ") + text.count("[ ] STOP") == len(holds)


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
