"""Typing on the phone without a slip: blades that are touched, a reading taken back before it is sent, long forms."""

from typing import Any

from tests.api.samples.orders import FITTER
from tests.browser.conftest import Mill
from tests.browser.phones import PHONE, PhoneMaker, link_of, readings


def test_blades_are_touched_and_their_stamps_are_added(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    """0.0015 and 0.0025 in together are 0.004 in: a hand calculation."""
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    mine.page.get_by_role("button", name="by blade").click()
    touch = lambda stamp: mine.page.locator(".keys").get_by_role("button", name=stamp, exact=True).click()  # noqa: E731
    touch("0.0015")
    touch("0.0025")
    assert mine.page.get_by_label("row 1").input_value() == "0.0040"
    assert mine.height() <= PHONE["height"] and mine.small_targets() == []
    touch("0.003")
    touch("0.005")
    assert mine.page.get_by_label("row 1").input_value() == "0.0070", "three blades at most"
    touch("0.003")
    mine.page.get_by_role("button", name="other row").click()
    touch("0.004")
    assert mine.page.get_by_label("row 2").input_value() == "0.0040"
    mine.name(FITTER)
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    (kept,) = readings(mill, both)
    assert [value["value"]["value"] for value in kept["values"]] == [0.004, 0.004] and kept["verdict"] == "accept"


def test_a_reading_that_waits_is_typed_again_and_the_first_is_never_sent(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.read("/step/140/tail", "4545")
    assert "Inside its range" in mine.told()
    mine.read("/step/260/tail", "2525")
    mine.told()
    mine.open("/unsent")
    mine.page.get_by_role("link", name="Read wrong: again").first.click()
    mine.page.wait_for_selector("form[data-what=reading] .fault")
    assert "0.0045, 0.0045" in mine.page.locator("form[data-what=reading] .fault").inner_text()
    mine.press("4040")
    mine.send()
    assert "0.0020 to 0.0025 in" in mine.told()
    mine.offline(False)
    mine.page.wait_for_selector("#sent-now")
    kept = readings(mill, both)
    assert [each["kind"] for each in kept] == ["initial_clearance", "residual_clearance"], "in the place of the first"
    assert [each["values"][0]["value"]["value"] for each in kept] == [0.004, 0.0025]


def test_a_reading_that_arrived_all_the_same_is_taken_back_by_the_service(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    """Its answer was lost, so the phone believes it unsent: the one typed again stands in its place."""
    mine = new_phone(link_of(mill, both))
    mine.keep()

    def lost(route: Any) -> None:
        route.fetch()
        route.abort()

    mine.page.route("**/entries", lost)
    mine.read("/step/140/tail", "4540")
    mine.told()
    mine.page.get_by_role("link", name="Read wrong: again").click()
    mine.page.unroute("**/entries")
    mine.page.wait_for_selector("form[data-what=reading] .fault")
    mine.press("4040")
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    first, second = readings(mill, both)
    assert (first["counts"], second["replaces"], second["reason"]) == (False, first["id"], "typing_slip")
    assert second["verdict"] == "accept"


def test_the_as_found_form_goes_one_part_a_screen_and_keeps_what_was_chosen(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.open("/as-found/tail")
    mine.page.wait_for_selector("text=part 1 of")
    heights = [mine.height()]
    mine.page.get_by_label("break-away 1").fill("95")
    while (following := mine.page.get_by_role("button", name="next")).is_visible():
        following.click()
        heights.append(mine.height())
        assert mine.small_targets() == []
    assert len(heights) >= 4 and max(heights) <= PHONE["height"], heights
    mine.page.get_by_label("anything else").fill("water in the pit")
    mine.page.reload()
    assert mine.page.get_by_label("break-away 1").input_value() == "95", "a reload loses nothing"
    while (following := mine.page.get_by_role("button", name="next")).is_visible():
        following.click()
    mine.page.locator("form[data-what=as_found] [name=taken_by]").fill(FITTER)
    mine.page.get_by_role("button", name="Send what was found").click()
    mine.page.wait_for_url("**/as-found/tail?sent=*")
    (kept,) = mill.json(f"/v1/work-orders/{both['id']}/as-found")["items"]
    assert (
        kept["break_away"][0]["value"] == 95
        and kept["notes"] == "water in the pit"
        and "seals" in kept["not_looked_at"]
    )
    assert mine.page.get_by_label("break-away 1").input_value() == "", "a new form begins empty"


def test_a_question_is_answered_without_a_signal_and_the_card_goes_by_it(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.open("/questions")
    mine.page.get_by_role("link", name="R12").click()
    mine.page.get_by_label("stop the machine at").fill("190")
    mine.page.get_by_label("your name").fill(FITTER)
    mine.page.get_by_role("button", name="Send the answer").click()
    mine.told()
    mine.offline(False)
    mine.page.wait_for_selector("#sent-now")
    asked = mill.json(f"/v1/work-orders/{both['id']}/readiness")["questions"]
    (answered,) = [each for each in asked if each["id"] == "R12"]
    assert answered["status"] == "answered" and answered["answer"]["answered_by"] == FITTER
    assert answered["answer"]["value"]["stop_limit"]["value"] == 190


def test_a_tick_leads_on_to_the_next_step_with_and_without_a_signal(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.open("/step/20")
    mine.name(FITTER)
    mine.send()
    mine.page.wait_for_url("**/step/30?done=20")
    assert "Step 20 done" in mine.page.locator("main").inner_text()
    mine.offline()
    mine.send()
    mine.page.wait_for_url("**/step/40")
    assert "1 kept here" in mine.signal


def test_the_form_is_the_one_thing_to_do_at_the_as_found_step_and_a_picture_can_be_made_large(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    """In a hurry one takes the black button: there it must be the form, not a tick beside it."""
    mine = new_phone(link_of(mill, both))
    mine.open("/step/60/tail")
    assert mine.page.locator(".main").all_inner_texts() == ["Open the form"]
    assert mine.page.locator("form").count() == 0
    figure = mine.page.locator("main figure")
    figure.click()
    box = figure.bounding_box()
    assert box is not None and (box["width"], box["height"]) == (PHONE["width"], PHONE["height"])
    figure.click()
    assert figure.bounding_box()["height"] < 300
