"""A real browser (Debian's chromium) on the service; without one these tests are skipped and say so."""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from werkzeug.serving import make_server

from service.app import create_app
from service.settings import Settings
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import order
from tests.api.samples.orders import known_fan
from tests.browser.phones import Phone, PhoneMaker, phone, unexpected
from tests.system.servers import free_port

REQUIRE_NAME = "CAPSADDLE_TEST_REQUIRE_BROWSER"
NAMES = ("chromium", "chromium-browser", "google-chrome")
PHONE = {"width": 390, "height": 844}
ASKED_FOR = ("401", "403", "404", "422")
"""Refusals that tests ask for; a browser calls each a fault."""
A4_AT_96_DPI = {"width": 794, "height": 1123}


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for the run."""
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        program = None
    if program is None:
        reason = "no chromium on PATH, or no playwright: apt-get install chromium, pip install playwright"
        if os.environ.get(REQUIRE_NAME):
            pytest.fail(f"{reason}; {REQUIRE_NAME} is set")
        pytest.skip(reason)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@dataclass
class Mill:
    """A running service with one order, as an integrator and as a mechanic see it."""

    url: str
    api: Any
    headers: dict[str, str]

    def opened(self, asset: Any = None, *, units: str = "inch", number: str = "WO-1") -> dict[str, Any]:
        """Open an order for the tail bearing."""
        made = self.api.post(
            "/v1/work-orders", json=order(number, asset or known_fan(), positions=("tail",)), headers=self.headers
        )
        assert made.status_code == 201, made.text
        body: dict[str, Any] = made.json
        return body

    def link(self, order_id: str) -> str:
        """Return the address of the card of an order, to fill in."""
        made = self.api.post(f"/v1/work-orders/{order_id}/card-links", json={}, headers=self.headers)
        return f"{self.url}{made.json['url']}"

    def json(self, path: str) -> Any:
        """Return what the API answers."""
        return self.api.get(path, headers=self.headers).json


@pytest.fixture
def mill(sqlite_url: str) -> Iterator[Mill]:
    """The service on a port of this machine."""
    app = create_app(Settings(database_url=sqlite_url))
    database = app.extensions["capsaddle"].database
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", ("read", "write", "approve"))
    port = free_port()
    server = make_server("127.0.0.1", port, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield Mill(f"http://127.0.0.1:{port}", app.test_client(), {"Authorization": f"Bearer {key}"})
    server.shutdown()
    thread.join(10)
    server.server_close()
    database.dispose()


@pytest.fixture
def both(mill: Mill) -> dict[str, Any]:
    """An open order for both bearings of the fan."""
    made = mill.api.post(
        "/v1/work-orders", json=order("WO-1", known_fan(), positions=("drive", "tail")), headers=mill.headers
    )
    assert made.status_code == 201, made.text
    body: dict[str, Any] = made.json
    return body


@pytest.fixture
def new_phone(chromium: Any) -> Iterator[PhoneMaker]:
    """Phones that are put away at the end; each must have had no fault of its own."""
    made: list[Phone] = []

    def maker(link: str, **more: Any) -> Phone:
        made.append(phone(chromium, link, **more))
        return made[-1]

    yield maker
    for each in made:
        each.context.close()
    assert [unexpected(each.faults) for each in made] == [[] for _ in made]


PageMaker = Callable[..., Any]


@pytest.fixture
def page_of(chromium: Any) -> Iterator[PageMaker]:
    """Make a page: ``page_of(viewport, script=True, headers=None)``; it fails on any fault in its console."""
    contexts: list[Any] = []
    faults: list[str] = []

    def made(viewport: dict[str, int], *, script: bool = True, headers: dict[str, str] | None = None) -> Any:
        context = chromium.new_context(viewport=viewport, java_script_enabled=script, extra_http_headers=headers or {})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        page.on(
            "console", lambda message: faults.append(message.text) if message.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("dialog", lambda dialog: (faults.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        page.on("request", lambda request: None if "127.0.0.1" in request.url else faults.append(request.url))
        return page

    yield made
    for context in contexts:
        context.close()
    assert [fault for fault in faults if "favicon" not in fault and not any(code in fault for code in ASKED_FOR)] == []
