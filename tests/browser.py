"""A real browser for tests: one Chromium a run, a clean context a test, sign-in by session cookie."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK = {"width": 1440, "height": 900}
TABLET = {"width": 820, "height": 1180}
PHONE = {"width": 390, "height": 844}


def sign_in(context: BrowserContext, live_server, user) -> None:
    """Make `user` the one who sits at this browser."""
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(user)
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}])


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not CHROMIUM.exists():
        pytest.skip("chromium is missing; install it: apt-get install chromium")
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        # Playwright's loop runs in this thread, which Django takes for asynchronous code.
        patch.setitem(os.environ, "DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


def listen(context: BrowserContext) -> list[str]:
    """A list that fills with script errors and with what the content policy refused, on any page of this browser."""
    complaints: list[str] = []

    def on_console(message: ConsoleMessage) -> None:
        # A page that answers 404 or 403 is told as an error too; tests ask for those on purpose.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            complaints.append(message.text)

    context.on("weberror", lambda error: complaints.append(str(error.error)))
    context.on("console", on_console)
    return complaints


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A browser of nobody yet. A script error or a refusal by the content policy fails the test."""
    context = browser.new_context(viewport=DESK, locale="en-GB", timezone_id="UTC")
    context.set_default_timeout(10_000)
    complaints = listen(context)
    yield context
    context.close()
    assert complaints == []


@pytest.fixture
def page(context: BrowserContext) -> Page:
    return context.new_page()
