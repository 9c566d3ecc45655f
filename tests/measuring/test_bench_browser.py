"""The bench's pages in a real browser: the rack by scanner, garments by keyboard, and axe over all of them."""

from datetime import timedelta
from decimal import Decimal

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.intake.models import Deviation
from apps.intake.queries import label_code
from apps.measuring.models import BenchmarkPair, RackStay, Reading
from apps.measuring.queries import extras_offered
from apps.measuring.services import ExtraEntry, enter_extras, put_on_rack
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, a_marked_request, after_cycle, assemble, with_originals, with_readings
from tests.measuring.test_garments import a_garment

HALF = {"width": 720, "height": 450}  # 200 % of a desk
ONE = {"count": 1, "fewer_reason": "short"}


@pytest.fixture
def cast(transactional_db):
    return assemble()


@pytest.fixture
def bea(cast, live_server, page: Page):
    expect.set_options(timeout=30_000)
    sign_in(page.context, live_server, cast.bea)
    return cast.bea


def test_a_scanner_puts_one_after_another_on_the_rack(cast, bea, live_server, page: Page):
    request = a_marked_request(cast, at=clock.now() - timedelta(hours=1))
    page.goto(f"{live_server.url}{reverse('measuring:rack')}")
    for specimen in request.specimens.all():
        page.get_by_label("Scan or type codes").focus()
        page.keyboard.type(label_code(specimen.code))
        page.keyboard.press("Enter")
        expect(page.get_by_text(f"On the rack: {specimen.code}.")).to_be_visible()
    assert RackStay.objects.count() == 3
    expect(page.get_by_text("may be measured from")).to_have_count(3)


def test_read_before_it_is_conditioned_asks_for_a_reason_once(cast, bea, live_server, page: Page):
    request = a_marked_request(cast, at=clock.now(), **ONE)
    put_on_rack(specimen_ids=[request.specimens.get().pk], room_id=None, by=cast.bea, at=clock.now())
    page.goto(f"{live_server.url}/samples/{request.sample.code}/readings/")
    page.keyboard.type("250")
    page.keyboard.press("Enter")
    expect(page.locator("#sheet-told")).to_contain_text("Not conditioned yet")
    page.get_by_label("Why it is read before it is conditioned").fill("the customer waits")
    page.keyboard.press("Tab")
    expect(page.locator("[data-state=read]")).to_have_count(1)
    page.get_by_label("A1 length 2").fill("250")
    page.get_by_label("A1 length 2").press("Enter")
    expect(page.locator("[data-state=read]")).to_have_count(2)
    assert Reading.objects.count() == 2
    assert Deviation.objects.filter(kind="conditioning").count() == 1


def test_a_garment_is_marked_by_keyboard_alone(cast, bea, live_server, page: Page):
    with clock.set_to(NOON):
        request = a_garment(cast)
    page.goto(f"{live_server.url}{reverse('measuring:cut', args=[request.sample.code, 1])}?garment=skirt")
    page.get_by_role("checkbox", name="5 Hem").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="They are marked").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("A1, A2, A3 marked.")).to_be_visible()
    assert set(BenchmarkPair.objects.values_list("place", flat=True)) == {"waistband", "hem"}


@pytest.mark.once
def test_nothing_serious_for_axe_on_any_page(cast, bea, live_server, page: Page):
    with clock.set_to(NOON):
        garment = a_garment(cast)
        limits = {"length_lower": Decimal(-3), "width_lower": Decimal(-2), "limits_source": "invented"}
        cloth = with_originals(cast, a_marked_request(cast, cycles=3, measured_after=(1, 3), **limits))
        (skew, *_) = extras_offered(cloth)
        after_cycle(cast, cloth)
        with_readings(cast, cloth, 1, "246")
        rows = [ExtraEntry("x", skew.pk, piece.pk, "", "353", "350") for piece in cloth.specimens.all()]
        enter_extras(request_id=cloth.pk, stage=1, entries=rows, unit="mm", by=cast.bea, at=NOON)
        after_cycle(cast, cloth, cycles=2)
        pieces = list(cloth.specimens.values_list("pk", flat=True))
        put_on_rack(specimen_ids=pieces, room_id=None, by=cast.bea, at=NOON)
    code = cloth.sample.code
    pages = {
        "bench": reverse("measuring:bench"),
        "rack": reverse("measuring:rack"),
        "marking": f"{reverse('measuring:cut', args=[garment.sample.code, 1])}?garment=dress",
        "readings": reverse("measuring:readings", args=[code]),
        "extras": f"{reverse('measuring:extras', args=[code])}?request=1&stage=3",
        "results": reverse("measuring:results", args=[code]),
        "correct": reverse("measuring:correct", args=[Reading.objects.filter(stage=1).first().pk]),
    }
    for name, address in pages.items():
        page.goto(f"{live_server.url}{address}")
        page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true })")
        for viewport in (DESK, TABLET, PHONE, HALF):
            for scheme in ("light", "dark"):
                page.set_viewport_size(viewport)
                page.emulate_media(color_scheme=scheme)
                found = Axe().run(page).response["violations"]
                where = (name, viewport["width"], scheme)
                assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == [], where
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), where
