"""The sheet over a wire that is cut: what the lab's book has not acknowledged stays in the browser, over a reload and a
crash, and comes once, under its own key, by the person who typed it."""

import pytest
from django.conf import settings
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.measuring.models import Reading
from apps.trail.models import TrailEntry
from tests.browser import sign_in
from tests.cast import NOON, a_marked_request, after_cycle, assemble, with_originals, with_readings
from tests.laundering.wire import State, Wire

pytestmark = pytest.mark.once
LONG = 20_000


@pytest.fixture
def cast(transactional_db):
    return assemble()


@pytest.fixture
def wire(live_server):
    wire = Wire(live_server.thread.host, live_server.thread.port)
    yield wire
    wire.close()


@pytest.fixture
def washed(cast, wire, page: Page):
    with clock.set_to(NOON):
        request = after_cycle(cast, with_originals(cast, a_marked_request(cast)))
    sign_in(page.context, wire, cast.bea)
    page.goto(f"{wire.url}/samples/{request.sample.code}/readings/")
    return request


def type_in(page: Page, *texts: str) -> None:
    for text in texts:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def waiting(page: Page, many: int) -> None:
    expect(page.locator("#sheet-told")).to_contain_text(
        "1 value waits" if many == 1 else f"{many} values wait", timeout=LONG
    )


def in_the_book() -> list[str]:
    return list(
        Reading.objects.filter(stage=1)
        .order_by("pair__specimen", "pair__direction", "pair__number")
        .values_list("text", flat=True)
    )


def until_written(page: Page, texts: list[str]) -> None:
    for _ in range(200):
        if in_the_book() == texts:
            return
        page.wait_for_timeout(100)
    assert in_the_book() == texts


@pytest.mark.parametrize("state", [State.CUT, State.DEAD, State.ONE_WAY])
def test_what_is_typed_while_the_wire_is_cut_comes_once(washed, wire, page, state):
    type_in(page, "244")
    until_written(page, ["244"])
    expect(page.locator("[data-state=read]")).to_have_count(1, timeout=LONG)
    wire.become(state)
    type_in(page, "243", "245")
    expect(page.locator("[data-state=waits]")).to_have_count(2, timeout=LONG)
    wire.become(State.WHOLE)
    until_written(page, ["244", "243", "245"])
    entries = TrailEntry.objects.filter(kind="readings.entered", facts__stage=1)
    assert entries.count() == len(set(entries.values_list("key", flat=True))) == 3


def test_a_reload_and_a_closed_browser_lose_nothing(washed, wire, page, context):
    wire.become(State.CUT)
    type_in(page, "244", "243")
    waiting(page, 2)
    page.close()
    wire.become(State.WHOLE)
    again = context.new_page()
    again.goto(f"{wire.url}/bench/")  # any page of the bench sends what waits
    until_written(again, ["244", "243"])
    again.goto(f"{wire.url}/samples/{washed.sample.code}/readings/")
    expect(again.locator("#cells-left")).to_have_text("16", timeout=LONG)


def test_typed_anew_before_it_was_sent_the_newer_one_goes(washed, wire, page):
    wire.become(State.CUT)
    type_in(page, "234")
    waiting(page, 1)
    page.get_by_label("A1 length 1").fill("244")
    page.get_by_label("A1 length 1").press("Enter")
    waiting(page, 1)
    wire.become(State.WHOLE)
    until_written(page, ["244"])


def test_nothing_is_sent_by_somebody_else(washed, wire, page, context, cast):
    wire.become(State.CUT)
    type_in(page, "244")
    waiting(page, 1)
    wire.become(State.WHOLE)
    context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    sign_in(context, wire, cast.mara)
    page.goto(f"{wire.url}/bench/")
    page.wait_for_timeout(1500)
    assert in_the_book() == []
    context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    sign_in(context, wire, cast.bea)
    page.goto(f"{wire.url}/bench/")
    until_written(page, ["244"])
    assert Reading.objects.get(stage=1).read_by == cast.bea


def test_what_somebody_else_read_meanwhile_is_told(washed, wire, page, cast):
    wire.become(State.CUT)
    type_in(page, "245")
    waiting(page, 1)
    with clock.set_to(NOON):
        with_readings(cast, washed, 1, ["244", *[""] * 17])
    wire.become(State.WHOLE)
    expect(page.locator("td", has=page.get_by_label("A1 length 1"))).to_contain_text(
        "Already read by Bea Bench", timeout=LONG
    )
    assert in_the_book() == ["244"]
