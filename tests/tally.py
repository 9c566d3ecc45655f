"""Counts what ran where. With FULLING_REQUIRE_ALL a run fails that left out a database, the browser or the races."""

import os
from collections import Counter

import pytest

RAN: Counter[str] = Counter()
SKIPPED: Counter[str] = Counter()
NEEDED = ("sqlite", "sqlite browser", "postgres", "postgres browser", "postgres race")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    database = os.environ.get("FULLING_TEST_DB", "sqlite")
    for item in items:
        kinds = [database, *(f"{database} {kind}" for kind in ("browser", "race") if item.get_closest_marker(kind))]
        item.user_properties.append(("kinds", kinds))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    if type(report) is not pytest.TestReport:
        return  # one of a test's subtests
    if report.skipped or report.when == "call":
        counter = SKIPPED if report.skipped else RAN
        counter.update(dict(report.user_properties).get("kinds", []))


def missing() -> list[str]:
    """Parts that did not run at all, and races that were skipped where they count."""
    return [part for part in NEEDED if not RAN[part] or (part == "postgres race" and SKIPPED[part])]


def pytest_sessionfinish(session: pytest.Session) -> None:
    on_controller = not hasattr(session.config, "workerinput")
    if "FULLING_REQUIRE_ALL" in os.environ and on_controller and missing() and session.exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter) -> None:
    if RAN or SKIPPED:
        terminalreporter.section("what ran where")
    for part in sorted(RAN | SKIPPED):
        terminalreporter.line(f"{part:18} {RAN[part]:5} ran {SKIPPED[part]:5} skipped")
    if "FULLING_REQUIRE_ALL" in os.environ and missing():
        terminalreporter.line(f"FAILED, did not run: {', '.join(missing())}", red=True)
