"""A phone in the tests: opens the card of a link, types with its thumb, loses its signal and finds it again."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

PHONE = {"width": 390, "height": 844}
SMALL_TARGETS = """() => [...document.querySelectorAll('a, button, summary, select, textarea, input')]
  .filter(each => each.type !== 'hidden')
  .map(each => ['radio', 'checkbox'].includes(each.type) ? each.closest('label') : each)
  .map(each => [each, each.getBoundingClientRect()])
  .filter(([, box]) => box.height && (box.height < 48 || box.width < 48))
  .map(([each, box]) => `${each.tagName} ${box.width}x${box.height} ${each.textContent.trim().slice(0, 30)}`)"""
EXPECTED = ("ERR_INTERNET_DISCONNECTED", "ERR_FAILED", "favicon", "404", "410", "409", "422")
"""What the console says when the signal is gone or something is refused; anything else is a fault."""


@dataclass
class Phone:
    """A browser with its own storage, at one card."""

    context: Any
    page: Any
    link: str
    faults: list[str] = field(default_factory=list)

    def open(self, path: str = "") -> None:
        """Open a screen of the card."""
        self.page.goto(self.link + path)

    def keep(self) -> None:
        """Open the card, and wait until it is kept on the phone."""
        self.open()
        kept = "async base => Boolean(await (await caches.open('capsaddle-cards')).match(base + '/pages'))"
        self.until(kept, "/card/" + self.link.rpartition("/card/")[2])

    def until(self, script: str, given: Any = None) -> None:
        """Wait until a script answers true; the page itself allows none to be put into it."""
        for _ in range(100):
            if self.page.evaluate(script, given):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"not within ten seconds: {script}")

    def until_said(self, words: str) -> None:
        """Wait until something is said at the top."""
        self.until("words => document.querySelector('#signal').textContent.includes(words)", words)

    def press(self, digits: str) -> None:
        """Type on the keypad of the card."""
        for digit in digits:
            self.page.locator(".keys button", has_text=digit).first.click()

    def name(self, person: str) -> None:
        """Write who it is."""
        self.page.locator("form[data-what=reading] [name=taken_by]").fill(person)

    def send(self) -> None:
        """Send the form of the step."""
        self.page.locator("form[data-what=reading] [type=submit]").click()

    def told(self) -> str:
        """What the page says of a reading that waits."""
        self.page.wait_for_selector("#told:not([hidden])")
        return " ".join(self.page.locator("#told").inner_text().split())

    def read(self, path: str, digits: str, person: str = "A. Fitter") -> None:
        """Read a number at a step and send it."""
        self.open(path)
        self.press(digits)
        self.name(person)
        self.send()

    def offline(self, off: bool = True) -> None:
        """Lose the signal, or find it."""
        self.context.set_offline(off)

    @property
    def signal(self) -> str:
        """What is said at the top."""
        return " ".join(self.page.locator("#signal").inner_text().split())

    def small_targets(self) -> list[str]:
        """What is smaller than 48 by 48 pixels."""
        found: list[str] = self.page.evaluate(SMALL_TARGETS)
        return found

    def height(self) -> int:
        """How high the page is, [pixel]."""
        found: int = self.page.evaluate("document.documentElement.scrollHeight")
        return found


def link_of(mill: Any, made: dict[str, Any], **more: Any) -> str:
    """Return the address of a new card of an order."""
    answer = mill.api.post(f"/v1/work-orders/{made['id']}/card-links", json=more, headers=mill.headers)
    assert answer.status_code == 201, answer.text
    return f"{mill.url}{answer.json['url']}"


def readings(mill: Any, made: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the readings of an order, as the service kept them."""
    found: list[dict[str, Any]] = mill.json(f"/v1/work-orders/{made['id']}/readings?limit=200")["items"]
    return found


PhoneMaker = Callable[..., Phone]


def phone(browser: Any, link: str, **more: Any) -> Phone:
    """Return a new phone with nothing on it."""
    context = browser.new_context(**{"viewport": PHONE, "has_touch": True, **more})
    page = context.new_page()
    page.set_default_timeout(15_000)
    made = Phone(context, page, link)
    page.on("pageerror", lambda error: made.faults.append(str(error)))
    page.on("console", lambda message: made.faults.append(message.text) if message.type == "error" else None)
    return made


def unexpected(faults: list[str]) -> list[str]:
    """What no loss of the signal explains."""
    return [each for each in faults if not any(word in each for word in EXPECTED)]
