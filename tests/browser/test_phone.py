"""The card on a phone: one step at a time, with and without a signal, with and without script."""

from datetime import UTC, datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
import zxingcpp
from PIL import Image

from service.store.queries.keys import revoke_key
from tests.api.samples.machines import order
from tests.api.samples.orders import FITTER, confirmed, initial, isolated, known_fan
from tests.browser.conftest import Mill
from tests.browser.looks import heading_levels, low_contrasts, nameless_controls, overflowing
from tests.browser.phones import PHONE, PhoneMaker, link_of, phone, readings

NUMBER_STEPS = ("/step/110/drive", "/step/130", "/step/140/drive", "/step/140/tail", "/step/150", "/step/170/drive",
                "/step/190/drive", "/step/210/drive", "/step/220/tail", "/step/280/tail", "/step/320/tail",
                "/step/350")  # fmt: skip
OTHER_SCREENS = ("", "/step/10", "/step/20", "/step/50/drive", "/step/60/tail", "/step/100/tail", "/step/300",
                 "/step/360/tail", "/steps", "/numbers", "/questions", "/unsent", "/ask/140/tail", "/as-found/tail",
                 "/deviation/140/tail", "/step/140/nowhere")  # fmt: skip


@pytest.mark.parametrize("path", NUMBER_STEPS)
def test_a_step_is_one_screen_nothing_is_scrolled_for_number_field_and_button(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker, path: str
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.open(path)
    mine.page.wait_for_selector(".keys button")
    assert mine.height() <= PHONE["height"], "one screen"
    for part in ("form[data-what=reading] .fld.n input", "form[data-what=reading] [type=submit]", "nav.end"):
        box = mine.page.locator(part).first.bounding_box()
        assert box is not None and box["y"] >= 0 and box["y"] + box["height"] <= PHONE["height"], part
    for number in mine.page.locator(".big:visible").all():
        assert number.bounding_box()["y"] < PHONE["height"]


@pytest.mark.parametrize("width", [390, 320])
@pytest.mark.parametrize("path", [*NUMBER_STEPS, *OTHER_SCREENS])
def test_every_target_is_large_and_nothing_sticks_out(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker, path: str, width: int
) -> None:
    mine = new_phone(link_of(mill, both, approves=True), viewport={"width": width, "height": 844})
    mine.open(path)
    mine.page.wait_for_timeout(100)
    assert mine.small_targets() == []
    assert overflowing(mine.page) == []
    assert low_contrasts(mine.page) == []
    assert nameless_controls(mine.page) == []
    levels = heading_levels(mine.page)
    assert levels.count(1) <= 2 and all(level <= 2 for level in levels)


@pytest.mark.parametrize("path", ["", "/step/140/tail", "/step/10", "/as-found/tail", "/numbers"])
def test_twice_the_size_of_letters_breaks_nothing(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker, path: str
) -> None:
    mine = new_phone(link_of(mill, both))
    session = mine.context.new_cdp_session(mine.page)
    session.send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    mine.open(path)
    assert mine.page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") == 32
    assert overflowing(mine.page) == [] and mine.small_targets() == []


def test_pages_are_small(mill: Mill, both: dict[str, Any]) -> None:
    path = link_of(mill, both).removeprefix(mill.url)
    sizes = {each: len(mill.api.get(path + each).data) for each in (*NUMBER_STEPS, *OTHER_SCREENS)}
    assert {each: size for each, size in sizes.items() if size > 60_000} == {}
    assert len(mill.api.get(f"{path}/pages").data) < 1_000_000, "a whole card"


def test_a_reading_is_typed_at_a_fixed_point_and_its_verdict_says_what_to_do(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    """0.0040 in both rows of a 22216 K/C3 leaves 0.0020 to 0.0025 in: README of the drawn sheets, first row."""
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    fields = mine.page.locator("form[data-what=reading] .fld.n input")
    assert fields.first.input_value() == "0.00__", "the point is printed"
    mine.press("40")
    assert fields.first.input_value() == "0.0040"
    mine.press("40")
    mine.name(FITTER)
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    said = mine.page.locator("main").inner_text()
    assert "Inside its range" in said and "0.0020 to 0.0025 in" in said and "goes in, light drag" in said
    (kept,) = readings(mill, both)
    assert (kept["verdict"], kept["taken_by"], kept["made_revision"]) == ("accept", FITTER, 2)
    assert len(kept["sent_as"]) == 36
    mine.open("/step/170/drive")
    assert mine.page.locator("form[data-what=reading] [name=taken_by]").input_value() == FITTER, "remembered"


def test_a_double_tap_and_a_reload_are_one_reading(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    mine.press("4040")
    mine.name(FITTER)
    mine.page.locator("form[data-what=reading] [type=submit]").dblclick(no_wait_after=True)
    mine.page.wait_for_url("**/reading/*")
    mine.page.reload()
    assert len(readings(mill, both)) == 1


def test_a_real_keyboard_goes_by_the_same_fixed_point(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    mine.page.wait_for_selector(".keys button")
    one, two = mine.page.get_by_label("row 1"), mine.page.get_by_label("row 2")
    one.focus()
    mine.page.keyboard.type("4x5")
    assert one.input_value() == "0.0045", "letters are not taken, digits fill the open places"
    mine.page.keyboard.type("40")
    assert two.input_value() == "0.0040", "and then go on in the other row"
    mine.page.keyboard.press("Backspace")
    assert two.input_value() == "0.004_"
    mine.page.get_by_role("button", name="other", exact=True).click()
    mine.page.keyboard.type("0.0120")
    assert mine.page.locator(".fld.on input").input_value() == "0.0120", "what lies far off can be typed as well"


def test_the_card_says_nothing_that_callers_wrote_as_script(mill: Mill, new_phone: PhoneMaker) -> None:
    script = "<img src=x onerror=alert(1)><script>alert('x')</script>"
    machine = known_fan() | {"tag": script, "name": script}
    made = mill.api.post("/v1/work-orders", json=order("WO-1", machine, positions=("tail",)), headers=mill.headers).json
    mine = new_phone(link_of(mill, made))
    mine.page.on("dialog", lambda dialog: (mine.faults.append(dialog.message), dialog.dismiss()))
    mine.keep()
    for path in ("", "/steps", "/step/140/tail", "/numbers"):
        mine.open(path)
        assert script in mine.page.locator("header").inner_text()
        assert mine.page.locator("img").count() == 0
    mine.offline()
    mine.open()
    assert script in mine.page.locator("header").inner_text() and mine.page.locator("img").count() == 0


def test_the_printed_digits_alone_are_no_reading(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    """An untouched row must not become 0.00, which would say that nothing passes."""
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    mine.press("40")
    mine.name(FITTER)
    mine.send()
    mine.page.wait_for_timeout(300)
    assert mine.page.url.endswith("/step/140/tail") and readings(mill, both) == []
    mine.page.get_by_label("row 2").click()
    mine.press("00")
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    (kept,) = readings(mill, both)
    assert [value["value"]["value"] for value in kept["values"]] == [0.004, 0.0] and kept["verdict"] != "accept"


def test_without_a_signal_readings_wait_survive_a_reload_and_are_sent_once_in_their_order(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.read("/step/140/tail", "4040")
    told = mine.told()
    assert "Inside its range" in told and "0.0020 to 0.0025 in" in told and "the service judges again" in told
    mine.read("/step/260/tail", "2525")
    assert "Inside its range" in mine.told(), "judged by the window that the unsent reading makes"
    mine.page.reload()
    assert "2 kept here" in mine.signal
    mine.read("/step/110/tail", "68506855")
    assert "judged when sent" in mine.told(), "no table, no verdict"
    before = datetime.now(UTC)
    assert readings(mill, both) == []
    mine.page.wait_for_timeout(1200)
    mine.offline(False)
    mine.page.wait_for_selector("#sent-now")
    kept = readings(mill, both)
    assert [(each["kind"], each["verdict"]) for each in kept] == [
        ("initial_clearance", "accept"),
        ("residual_clearance", "accept"),
        ("shaft_diameter", "accept"),
    ]
    assert [each["revision"] for each in kept][:2] == [1, 2]
    taken = [datetime.fromisoformat(each["taken_at"]) for each in kept]
    assert taken == sorted(taken) and taken[-1] < before + timedelta(seconds=1), "when it was typed, not sent"
    mine.page.reload()
    mine.page.wait_for_timeout(500)
    assert len(readings(mill, both)) == 3 and mine.page.locator("#sent").inner_text() == "all sent"


def test_an_answer_that_was_lost_leaves_one_reading(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    """The reading arrives, its answer does not: the phone sends it again under the same name."""
    mine = new_phone(link_of(mill, both))
    mine.keep()

    def lost(route: Any) -> None:
        route.fetch()
        route.abort()

    mine.page.route("**/entries", lost)
    mine.read("/step/140/tail", "4040")
    assert "Inside its range" in mine.told()
    assert len(readings(mill, both)) == 1
    mine.page.unroute("**/entries")
    mine.open("/unsent")
    mine.page.wait_for_selector("#sent-now")
    assert len(readings(mill, both)) == 1


def test_two_phones_on_one_order_lose_nothing(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    one, other = new_phone(link_of(mill, both)), new_phone(link_of(mill, both))
    for each in (one, other):
        each.keep()
        each.offline()
    one.read("/step/140/tail", "4040", "A. Fitter")
    other.read("/step/140/drive", "4545", "C. Fitter")
    assert "Inside its range" in one.told() and "Inside its range" in other.told()
    for each in (one, other):
        each.offline(False)
        each.page.wait_for_selector("#sent-now")
    kept = {each["position"]: (each["verdict"], each["taken_by"]) for each in readings(mill, both)}
    assert kept == {"tail": ("accept", "A. Fitter"), "drive": ("accept", "C. Fitter")}
    assert mill.json(f"/v1/work-orders/{both['id']}")["revision"] == 3


def test_a_card_that_changed_meanwhile_is_said_before_anything_more_is_entered(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.open("/step/110/drive")
    sent = mill.api.post(
        f"/v1/work-orders/{both['id']}/readings", json={"readings": [initial("drive", 0.0040)]}, headers=mill.headers
    )
    assert sent.status_code == 201
    mine.offline(False)
    mine.until_said("changed meanwhile")
    assert mine.page.locator("form[data-what=reading] [type=submit]").is_disabled()
    mine.page.get_by_role("button", name="Load the card").click()
    mine.page.wait_for_selector("form[data-what=reading] [type=submit]:enabled")
    assert not mine.page.locator("#signal").is_visible()


def test_a_card_that_changed_while_it_was_open_is_said_at_sending(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.open("/step/140/tail")
    mine.press("4040")
    mine.name(FITTER)
    mill.api.post(
        f"/v1/work-orders/{both['id']}/readings", json={"readings": [initial("drive", 0.0040)]}, headers=mill.headers
    )
    mine.send()
    mine.until_said("changed meanwhile")
    assert [each["position"] for each in readings(mill, both)] == ["drive"]


def test_what_waits_can_be_read_when_the_link_has_ended_as_text_and_as_code(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    """The code is read by an independent reader of ISO/IEC 18004."""
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.read("/step/140/tail", "4040")
    mine.told()
    key = mill.headers["Authorization"].split("_")[1]
    revoke_key(mill.api.application.extensions["capsaddle"].database, "ALDER", key)
    mine.offline(False)
    mine.until_said("link has ended")
    mine.open("/unsent")
    assert "leads nowhere" in mine.page.locator("header").inner_text()
    text = mine.page.locator(".kept").inner_text()
    assert "WO-1" in text and "0.0040, 0.0040" in text and "tail" in text and FITTER in text
    away = mine.page.get_by_text("take it off this phone")
    assert not away.is_visible(), "not before it was copied"
    mine.page.get_by_role("button", name="Show as code").click()
    shown = Image.open(BytesIO(mine.page.locator(".code svg").screenshot())).convert("L")
    assert [code.text for code in zxingcpp.read_barcodes(shown)] == [text]
    mine.page.reload()
    assert mine.page.locator(".kept").inner_text() == text, "it stays until it is copied"
    mine.page.get_by_role("button", name="Copy").click()
    away.click()
    mine.until("() => !document.querySelector('.kept')")
    mine.until("async () => !(await (await caches.open('capsaddle-cards')).keys()).length")


def test_without_script_the_card_is_plain_pages_with_forms(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both), java_script_enabled=False)
    mine.open()
    assert "a signal is needed" in mine.page.locator("noscript").inner_text()
    mine.page.get_by_text("Open step 10").click()
    mine.page.get_by_text("tried to start: nothing turned").click()
    mine.page.get_by_label("your name").fill(FITTER)
    mine.page.get_by_role("button", name="Send").click()
    mine.page.wait_for_url("**/reading/*")
    mine.open("/step/140/tail")
    mine.page.get_by_label("row 1").fill("four")
    mine.page.get_by_label("row 2").fill("0.0040")
    mine.page.get_by_role("button", name="Send both rows").click()
    assert "is not a number" in mine.page.get_by_role("alert").inner_text()
    assert mine.page.get_by_label("row 2").input_value() == "0.0040", "what was typed stays"
    assert mine.page.get_by_label("your name").input_value() == FITTER, "the name is remembered"
    mine.page.get_by_label("row 1").fill("0.0040")
    mine.page.get_by_role("button", name="Send both rows").click()
    mine.page.wait_for_url("**/reading/*")
    assert "0.0020 to 0.0025 in" in mine.page.locator("main").inner_text()
    assert [each["kind"] for each in readings(mill, both)] == ["try_start", "initial_clearance"]


def test_a_plain_http_address_says_that_it_needs_a_signal(mill: Mill, both: dict[str, Any], chromium: Any) -> None:
    """Browsers keep pages for https and for the machine itself only."""
    mine = phone(chromium, link_of(mill, both))
    try:
        mine.page.add_init_script("Object.defineProperty(self, 'isSecureContext', {value: false})")
        mine.open("/step/140/tail")
        mine.page.wait_for_selector("#signal:not([hidden])")
        assert "nothing can be kept on this phone" in mine.signal
        mine.press("4040")
        mine.name(FITTER)
        mine.send()
        mine.page.wait_for_url("**/reading/*")
        assert len(readings(mill, both)) == 1
    finally:
        mine.context.close()


def test_a_mistyped_reading_is_taken_back_on_the_phone(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    mine = new_phone(link_of(mill, both))
    mine.read("/step/140/tail", "4540")
    mine.page.wait_for_url("**/reading/*")
    mine.page.get_by_text("Mistyped").click()
    mine.page.get_by_label("because").select_option("misread")
    mine.press("4040")
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    first, second = readings(mill, both)
    assert (first["counts"], second["replaces"], second["reason"]) == (False, first["id"], "misread")


def test_a_run_in_is_kept_line_by_line_until_it_is_sent(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.open("/step/360/tail")
    for minute, degrees in ((0, 68), (15, 95)):
        mine.page.locator("[data-minute]").fill(str(minute))
        mine.page.locator("[data-degrees]").fill(str(degrees))
        mine.page.get_by_role("button", name="Add").click()
    mine.page.reload()
    assert mine.page.locator("[name=series]").input_value() == "0 68\n15 95"
    mine.name(FITTER)
    mine.send()
    mine.page.wait_for_url("**/reading/*")
    assert "Go on reading" in mine.page.locator("main").inner_text()
    (kept,) = readings(mill, both)
    assert [pair["minute"] for pair in kept["series"]] == [0, 15] and kept["code"] == "series_missing"


def test_photos_wait_like_readings_and_are_stored_once(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.open("/as-found/tail")
    made = BytesIO()
    Image.effect_noise((3000, 2000), 60).convert("RGB").save(made, "JPEG")
    mine.page.get_by_role("button", name="Photo").click()
    mine.page.get_by_label("load mark", exact=True).check()
    mine.page.locator("[type=file]").set_input_files(
        {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": made.getvalue()}
    )
    mine.page.locator("form[data-what=photo] [name=taken_by]").fill(FITTER)
    mine.page.get_by_role("button", name="Send the photo").click()
    assert "judged when sent" in mine.told() or "Kept" in mine.told()
    mine.offline(False)
    mine.page.wait_for_selector("#sent-now")
    (kept,) = mill.json(f"/v1/work-orders/{both['id']}/photos")["items"]
    assert (kept["about"], kept["position"], kept["width"]) == ("load_mark", "tail", 2048), "made smaller on the phone"


def test_a_question_reaches_whoever_follows_the_site(mill: Mill, both: dict[str, Any], new_phone: PhoneMaker) -> None:
    mine = new_phone(link_of(mill, both))
    mine.keep()
    mine.offline()
    mine.open("/ask/140/tail")
    mine.page.get_by_label("What is the matter?").fill("The new ring is marked C4.")
    mine.page.get_by_label("your name").first.fill(FITTER)
    mine.page.get_by_role("button", name="Send to the planner").click()
    mine.told()
    mine.offline(False)
    mine.page.wait_for_selector("#sent-now")
    events = mill.json("/v1/events?limit=200")["items"]
    (asked,) = [each["data"]["changed"] for each in events if each["type"].endswith("work_order.question_asked")]
    assert (asked["step"], asked["position"], asked["note"]) == ("initial", "tail", "The new ring is marked C4.")


def test_what_was_done_elsewhere_is_seen_on_the_overview(
    mill: Mill, both: dict[str, Any], new_phone: PhoneMaker
) -> None:
    given = [isolated(), confirmed("release-drive")]
    mill.api.post(f"/v1/work-orders/{both['id']}/readings", json={"readings": given}, headers=mill.headers)
    mine = new_phone(link_of(mill, both))
    mine.open()
    said = " ".join(mine.page.locator("main").inner_text().split())
    assert "Next: step 30" in said
    assert "signed 1 of 11" in said, "eleven lines to sign at most for two bearings: order of work, part 2.1"
