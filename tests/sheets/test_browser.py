"""Sheets in a real browser: chosen from disk, calculated, downloaded; on a phone, in both lights, without script."""

import csv
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser import PHONE, sign_in
from tests.cast import assemble
from tests.sheets.support import as_csv, of_text

READ = {"0": ["250", "250.5", "249.5"], "1": ["244", "245.5", "243"], "3": ["241", "243", "239.5"]}


def a_sheet(samples: int) -> bytes:
    lines = [
        [f"26-{sample:05d}K-A", f"A{piece + 1}", way, str(pair), stage, READ[stage][(piece + pair + sample) % 3], "mm"]
        for sample in range(1, samples + 1)
        for stage in READ
        for piece in range(3)
        for way in ("length", "width")
        for pair in (1, 2)
    ]
    return as_csv([line for line in lines if line[:6] != ["26-00001K-A", "A2", "length", "2", "3", "241"]])


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    made = {"good": a_sheet(12), "wrong": as_csv(of_text("X 1 length 1 0 -35 cm\nX 1 length 1 one 32 ells"))}
    for name, data in made.items():
        (tmp_path / f"{name}.csv").write_bytes(data)
    return {name: tmp_path / f"{name}.csv" for name in made}


@pytest.fixture
def bea(transactional_db):
    return assemble().bea


def choose(page: Page, file: Path) -> None:
    page.get_by_label("Measure sheet").set_input_files(file)
    page.get_by_role("button", name="Calculate").click()


def test_a_sheet_without_script(bea, files, live_server, browser, tmp_path):
    context = browser.new_context(java_script_enabled=False, accept_downloads=True)
    sign_in(context, live_server, bea)
    page = context.new_page()
    page.goto(f"{live_server.url}/bench/")
    page.get_by_role("link", name="Sheets").click()
    choose(page, files["wrong"])
    expect(page.get_by_role("row")).to_contain_text(["Where", "line 2", "line 3", "line 3", "sample"])
    choose(page, files["good"])
    expect(page.get_by_role("heading", name="Results of good.csv")).to_be_visible()
    page.get_by_role("button", name="Next").click()
    expect(page.get_by_role("heading", name="26-00012K-A")).to_be_visible()
    for kind in ("CSV", "XLSX"):
        with page.expect_download() as download:
            page.get_by_role("button", name=f"Download {kind}").click()
        assert download.value.suggested_filename == f"good results.{kind.lower()}"
        download.value.save_as(tmp_path / f"out.{kind}")
    assert len(list(csv.reader((tmp_path / "out.CSV").open(encoding="utf-8-sig")))) == 1 + 12 * 4
    page.get_by_label("as a CSV file").check()
    page.get_by_label("Measure sheet").set_input_files(files["good"])
    with page.expect_download() as download:
        page.get_by_role("button", name="Calculate").click()
    assert download.value.path().read_bytes() == (tmp_path / "out.CSV").read_bytes()
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_reads_well_on_a_phone(bea, files, live_server, browser, scheme):
    context = browser.new_context(viewport=PHONE, color_scheme=scheme)
    sign_in(context, live_server, bea)
    page = context.new_page()
    page.goto(f"{live_server.url}/sheets/")
    looked_at(page)
    with page.expect_navigation():
        choose(page, files["wrong"])
    looked_at(page)
    with page.expect_navigation():
        choose(page, files["good"])
    looked_at(page)
    context.close()


def looked_at(page: Page) -> None:
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
