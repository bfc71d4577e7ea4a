"""What a trainer of millwrights reads in every golden plan: nothing twice, nothing of another seat, all in its place.

Common practice, no source, unless a test names one.
"""

import json
from collections import Counter
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest

from service import record
from service.instructions.books.books import book_of, site_books
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.render.card.steps import beside
from service.render.present import site_text
from tests.golden import plans

NAMES = plans.names()
Made = dict[str, Any]


@cache
def made(name: str) -> Made:
    """Return the plan of a golden machine, quantities as leaves."""
    given = record.decoded(json.dumps(plans.kept(name)))
    books = site_books(book_of(**each) for each in given.get("books", ()))
    return plan(job_of_inputs(given["inputs"], books=books))


def line(of: Made, step: str) -> Made | None:
    """Return the first line of a step, None where the plan has none."""
    return next((each for each in of["steps"] if each["id"] == step), None)


def said(of: Made, step: str, level: str = "standard") -> str:
    """Return what all lines of a step say, with what stands beside their positions."""
    lines = [each for each in of["steps"] if each["id"] == step]
    parts = [site_text(each["text"][level], of["units"]) for each in lines]
    return " ".join([*parts, *(site_text(one["text"], of["units"]) for each in lines for one in each["by_position"])])


def seats(of: Made) -> set[str]:
    """Return what the bearings worked on sit on."""
    documents = {each["position"]: each for each in of["targets"]}
    return {str(each.get("seat")) for each in documents.values()}


def sentences(of: Made) -> Iterator[str]:
    """Yield every sentence that a card prints, what is equal at several ends once."""
    for each in of["steps"]:
        parts = [site_text(each["text"][level], of["units"]) for level in ("brief", "standard", "full")]
        parts += [site_text(words, of["units"]) for _, words in beside(each["by_position"], of["units"])]
        parts += [site_text(words, of["units"]) for words in each["cautions"]]
        for part in parts:
            yield from (one.strip(" .") for one in part.replace("! ", ". ").split(". ") if one.strip())


@pytest.mark.parametrize("name", NAMES)
def test_no_sentence_is_said_twice(name: str) -> None:
    """A phrase of fewer than four words may come again, and the answer lines in brackets."""
    again = Counter(sentences(made(name)))
    twice = {one: n for one, n in again.items() if n > 1 and len(one.split()) > 3 and not one.startswith("[")}
    assert not twice


@pytest.mark.parametrize("name", NAMES)
def test_who_is_held_comes_first_on_every_line(name: str) -> None:
    """One walking direction: the held bearing, then the free ones from it outward; also where ends have lines apart."""
    of = made(name)
    order = [each["position"] for each in of["bolting"]]
    if of["placement"] is not None:
        order = [of["placement"]["held"]["position"], *(each["position"] for each in of["placement"]["free"])]
    for step in dict.fromkeys(each["id"] for each in of["steps"]):
        walked = [p for each in of["steps"] if each["id"] == step for p in each["positions"]]
        assert [p for p in walked if p in order] == sorted((p for p in walked if p in order), key=order.index), step


@pytest.mark.parametrize("name", NAMES)
def test_the_budget_of_lines(name: str) -> None:
    """38 lines for two bearings, 36 for one; besides them a STOP, a sling, an oil fill, a seat of its own."""
    of = made(name)
    ids = Counter(each["id"] for each in of["steps"])
    added = sum(1 for each in of["steps"] if each["stop"]) + ids["sling"] + ids["oil-fill"]
    added += sum(n - 1 for n in ids.values() if n > 1)
    worked = len(of["positions"])
    most = 17 if of["kind"] == "inspection" else 36 if worked == 1 else 38
    assert len(of["steps"]) - added <= most
    holds = {each["hold"] for each in of["steps"] if each["hold"]}
    assert len(holds) <= 9


@pytest.mark.parametrize("name", NAMES)
def test_the_rings_are_said_to_be_taken_out_and_put_in(name: str) -> None:
    of = made(name)
    if line(of, "lift-shaft") is None:
        return
    assert "Take the locating rings out" in said(of, "lift-shaft")
    put_in = said(of, "set-held") + said(of, "set-open")
    assert "Rings in, gap upward" in put_in or "rings in its block alone" in put_in


@pytest.mark.parametrize("name", NAMES)
def test_a_bearing_that_stays_has_its_base_checked_and_not_slackened(name: str) -> None:
    of = made(name)
    for each in of["steps"]:
        if each["id"] == "set-held":
            stays = not set(each["positions"]) <= set(of["positions"])
            assert ("not slackened" in said(of, "set-held")) is stays
            assert ("half first" in said(of, "set-held")) is not stays


@pytest.mark.parametrize("name", NAMES)
def test_only_what_is_put_on_is_marked_and_the_marks_start_at_one_end(name: str) -> None:
    of = made(name)
    if line(of, "lay-out") is None:
        return
    assert "both bearing places" not in said(of, "lay-out")
    full = said(of, "lay-out", "full")
    assert not ("Start from the held bearing" in full and "The free bearing stays" in full)


@pytest.mark.parametrize("name", NAMES)
def test_words_of_a_taper_do_not_stand_on_a_card_without_one(name: str) -> None:
    of = made(name)
    tapered = any(each["id"] in ("put-on", "tighten", "tighten-free") for each in of["steps"])
    cautions = " ".join(site_text(each, of["units"]) for step in of["steps"] for each in step["cautions"])
    if not tapered:
        assert "taper" not in cautions
    if line(of, "tighten") is None and line(of, "tighten-free") is None:
        assert "nut turn" not in said(of, "residual")


@pytest.mark.parametrize("name", NAMES)
def test_the_second_person_looks_at_what_is_there(name: str) -> None:
    """No bent tab above a bore of 200 mm or without an adapter sleeve; no packed bearing in oil or behind seals."""
    of = made(name)
    oil = line(of, "oil-fill") is not None
    sealed = "Sealed" in said(of, "grease")
    locks = [each["title"] for each in of["steps"] if each["id"] == "lock"]
    clip = any("clip" in title or "shaft nut" in title.lower() for title in locks)
    if oil or sealed or clip or line(of, "shrink-on") is not None:
        assert "tabs bent" not in said(of, "last-look")
        assert "bearings greased" not in said(of, "last-look")


@pytest.mark.parametrize("name", NAMES)
def test_a_hydraulic_nut_comes_on_after_the_locknut_is_off(name: str) -> None:
    of = made(name)
    for step in ("tighten", "tighten-free"):
        if "ydraulic nut" in said(of, step):
            assert "Locknut off" in said(of, step)


@pytest.mark.parametrize("name", NAMES)
def test_a_heavy_bearing_is_slung_when_it_comes_off_too(name: str) -> None:
    """Over 25 kg: ISO 11228-1, reference mass, from memory."""
    of = made(name)
    cautions = " ".join(site_text(each, of["units"]) for step in of["steps"] for each in step["cautions"])
    assert ("sling the old bearing" in cautions) is (line(of, "sling") is not None)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_said_to_be_left_in_reserve_is_there(name: str) -> None:
    of = made(name)
    supports = (of["arrangement"] or {}).get("supports", ())
    small = [each["name"] for each in supports if each["role"] == "free" and each["setting"] is None and each["travel"]]
    if small and len(small) == len([each for each in supports if each["role"] == "free"]):
        assert "stays as reserve" not in said(of, "check-gap", "full")


@pytest.mark.parametrize("name", NAMES)
def test_a_brief_text_speaks_of_displacement_only_where_displacement_decides(name: str) -> None:
    of = made(name)
    blades = [each["blades"] for each in of["targets"] if each["blades"] is not None]
    if blades and all(each["resolves"] for each in blades):
        for step in ("residual", "residual-free"):
            assert "by displacement" not in said(of, step, "brief")


def test_a_ring_found_in_a_free_block_is_said_to_stay_out() -> None:
    assert "The ring found in tail stays out" in said(made("roles-changed"), "lower")
    assert "No ring lies in tail" in said(made("roles-changed"), "last-look", "full")
    assert "stays out" not in said(made("order-both-pinned"), "lower")


def test_blades_too_coarse_for_the_window_are_not_asked_for() -> None:
    of = made("own-blades-too-coarse")
    assert "blade" not in said(of, "tighten-free").split("Blades too coarse")[0]
    assert "displacement decides" in said(of, "residual-free")


def test_each_sleeve_is_freed_its_own_way_where_the_ways_differ() -> None:
    """A drift to a bore of 80 mm, above it a hydraulic nut or oil."""
    beside = {each["position"]: each["text"] for each in line(made("by-dimensions"), "strip")["by_position"]}  # type: ignore[index]
    assert beside["drive"].startswith("hydraulic nut, or oil")
    assert beside["tail"].startswith("soft drift")
    assert all(text.count("hydraulic nut") + text.count("drift") == 1 for text in beside.values())


def test_rings_that_travel_differently_share_no_number() -> None:
    """0.80 mm at a bore of 80, 0.40 mm at a bore of 40: the mark says neither."""
    assert "it travels away from its nut" in said(made("bolts-conflict"), "lay-out", "full")


def test_a_ring_shrunk_on_goes_to_no_mark() -> None:
    of = made("order-mixed-seats")
    assert "Mark tail: held bearing's far edge" in said(of, "lay-out")
    assert [each["id"] for each in of["steps"] if each["id"] in ("shrink-on", "put-on")] == ["shrink-on", "put-on"]


def test_a_ball_bearing_shrunk_on_has_no_displacement_to_write() -> None:
    of = made("self-aligning-ball-cylindrical")
    assert "Write displacement" not in said(of, "residual")
    assert "the fit is wrong" in said(of, "residual")


def test_threads_that_differ_stand_beside_each_block() -> None:
    of = made("book-torque-near-proof")
    assert "beside each" not in said(of, "cap-torque", "full").partition("Bolts:")[0].partition("Threads")[2]


def test_a_hot_shaft_names_its_seals() -> None:
    """NBR and felt to 100, FKM to 200 degC: from memory."""
    assert "FKM or labyrinth seals" in said(made("order-very-hot"), "check-parts", "full")
    assert "FKM" not in said(made("order-both-pinned"), "check-parts", "full")


def test_an_inspection_speaks_of_no_dead_bearing_and_of_none_that_stays() -> None:
    for name in ("fan-inspection", "unknown-machine-inspection", "order-inspect-oil"):
        of = made(name)
        assert "bearing died" not in said(of, "as-found", "full")
        assert "This bearing stays" not in said(of, "grease")


def test_a_tail_pulley_is_told_of_its_belt_and_of_no_fan() -> None:
    assert "fan" not in said(made("order-take-up"), "release-drive", "full")


def test_a_gear_is_marked_before_the_shaft_is_lifted() -> None:
    assert "mark the teeth in mesh" in said(made("withdrawal-sleeve"), "release-drive", "full")


def test_a_withdrawal_sleeve_has_a_lock_and_no_washer() -> None:
    assert "washer" not in said(made("order-withdrawal"), "check-parts")


def test_the_shaft_is_moved_with_its_weight_off() -> None:
    assert "weight off" in said(made("order-held-only"), "place-shaft")
    assert "Weight off" in said(made("order-both-pinned"), "place-free")


def test_a_bearing_that_goes_back_in_has_not_died() -> None:
    assert "bearing died" not in said(made("order-refit"), "as-found", "full")
