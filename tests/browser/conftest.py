"""A real Chromium does the bench job against Django's live server."""

import os
import re
import shutil

import pytest

# Playwright's sync interface runs an event loop of its own in this thread; Django would refuse the database to it.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

CHROMIUM = os.environ.get("CHROMIUM") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
# Nothing of the browser's own reaches the network, and it runs as root in a container too.
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT = 15_000  # ms: a bound for what never comes, not a sleep
# A slow phone finds the test that reads a page before it is there: how many times slower than this machine.
SLOWER = float(os.environ.get("BROWSER_SLOWER", 1))


@pytest.fixture(scope="session")
def chromium():
    """One browser for all tests."""
    if CHROMIUM is None and os.environ.get("BROWSER_TESTS") == "required":
        pytest.fail("These tests are required here, and no Chromium is found.")
    if CHROMIUM is None:
        pytest.skip("No Chromium is found: install it, or name it in CHROMIUM.")
    sync_api = pytest.importorskip("playwright.sync_api")
    sync_api.expect.set_options(timeout=WAIT)
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def session_cookie(client, keeper, live_server):
    """The cookie that signs the keeper in on the live server."""
    client.force_login(keeper)
    return {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}


@pytest.fixture
def browser_page(chromium, live_server, request):
    """Open a page of a size: ``browser_page(360, 740, touch=True)``; signed in unless ``signed_in=False``.

    ``connected=False`` lets a test lose an answer on its way.
    Addresses are relative to the live server. The test fails at its end if the page broke its Content-Security-Policy,
    a script failed, or one of our own files was not found.
    """
    contexts, troubles = [], []

    def open_page(width=360, height=740, *, dark=False, touch=True, scripts=True, signed_in=True, connected=True):
        context = chromium.new_context(
            base_url=live_server.url,
            viewport={"width": width, "height": height},
            color_scheme="dark" if dark else "light",
            has_touch=touch,
            is_mobile=touch,
            java_script_enabled=scripts,
            reduced_motion="reduce",
        )
        contexts.append(context)
        context.set_default_timeout(WAIT)
        if signed_in:
            context.add_cookies([request.getfixturevalue("session_cookie")])
        page = context.new_page()
        if SLOWER > 1:
            phone = context.new_cdp_session(page)
            phone.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
            network = {"offline": False, "latency": 20 * SLOWER, "downloadThroughput": -1, "uploadThroughput": -1}
            phone.send("Network.emulateNetworkConditions", network)
        page.on("pageerror", lambda error: troubles.append(f"script: {error}"))
        page.on("console", lambda message: troubles.append(message.text) if is_trouble(message, connected) else None)
        page.on(
            "response",
            lambda response: (
                troubles.append(f"{response.status} {response.url}")
                if response.status >= 500 or (response.status == 404 and "/static/" in response.url)
                else None
            ),
        )
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not troubles, "\n".join(troubles)


def is_trouble(message, connected=True) -> bool:
    """Is this line of the console a fault of the page? A refused form (422) or a page not found is none."""
    if not connected and re.search(r"net::ERR_FAILED|^htmx:(sendError|afterRequest)", message.text):
        return False
    refused = re.search(r"status of (4\d\d)", message.text)
    return message.type == "error" and not refused


@pytest.fixture
def taps():
    """Wraps a page so that every tap and key press is counted: ``hand = taps(page)``."""
    return Hand


class Hand:
    """A keeper's thumb on a page; ``count`` is how often it touched the glass or a key."""

    def __init__(self, page):
        self.page = page
        self.count = 0

    def tap(self, locator):
        locator.tap()
        self.count += 1

    def press(self, key):
        self.page.keyboard.press(key)
        self.count += 1

    def type(self, text):
        for character in text:
            self.press(character)
