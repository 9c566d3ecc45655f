"""The house rules hold, and each check bites on a source made to break it."""

import pytest
from django.conf import settings

from tests import house_rules, trail_rule
from tests.house_rules import ORDER, Module, ours

pytestmark = pytest.mark.once

# Services that write and leave no entry of their own, each with why.
WITHOUT_ENTRY = {
    "apps.accounts.services.letters.send_later": "part of the act that causes the letter, told in its entry",
    "apps.accounts.services.letters.write_to_customer": "letters of the act that causes them, as send_later",
    "apps.accounts.services.asked.asked_too_often": "how often an address asked is forgotten after minutes",
    "apps.accounts.services.tokens.note_use": "the day of last use; what a program does is told by its acts",
    "apps.intake.services.announcing.arrived": "a step within the receipt, told in its entry",
    "apps.intake.services.notices.tell_moved": "letters of the correction that causes them",
    "apps.intake.services.notices.tell_received": "letters of the receipt that causes them",
    "apps.intake.services.specimens.advance": "a step within an act: its callers lock and record",
    "apps.trail.services.store_blob": "the act that stores a file records its SHA-256",
}
# Arrows that point upwards inside an app, each with why.
EXCUSED_ARROWS: dict[tuple[str, str], str] = {}
EACH_MODULE = [
    house_rules.arrows_between_apps,
    house_rules.impurity_of_calc,
    house_rules.signals,
    house_rules.admin,
    house_rules.overridden_saves,
    house_rules.lengths,
    house_rules.clocks,
]


@pytest.mark.parametrize("check", EACH_MODULE, ids=lambda check: check.__name__)
def test_every_module_keeps(check):
    assert [sentence for module in ours() for sentence in check(module)] == []


def test_layers_inside_apps():
    assert house_rules.arrows_inside_apps(ours(), EXCUSED_ARROWS) == []


def test_every_service_that_writes_leaves_an_entry():
    assert sorted(set(trail_rule.services_without_entry(ours())) - set(WITHOUT_ENTRY)) == []


def test_services_take_keywords_only():
    assert trail_rule.services_called_by_place(ours()) == []


def test_excuses_are_still_needed():
    assert sorted(set(WITHOUT_ENTRY) - set(trail_rule.services_without_entry(ours()))) == []
    for excuse in EXCUSED_ARROWS:
        assert house_rules.arrows_inside_apps(ours(), set(EXCUSED_ARROWS) - {excuse}) != [], excuse


def test_pages_forms_and_queries_write_nothing():
    assert trail_rule.writes_outside_services(ours()) == []


def test_apps_are_installed_in_the_order_of_the_arrows():
    installed = [name.removeprefix("apps.") for name in settings.INSTALLED_APPS if name.startswith("apps.")]
    assert installed == [name for name in ORDER if name in installed]
    assert "django.contrib.admin" not in settings.INSTALLED_APPS


# Each check bites.

BAD = [
    (house_rules.arrows_between_apps, "apps.intake.services", "from apps.laundering.models import Load"),
    (house_rules.arrows_between_apps, "apps.core.x", "def f():\n    from apps.intake import models"),
    (house_rules.arrows_between_apps, "apps.laundering.views", "from apps.intake import forms"),
    (house_rules.arrows_between_apps, "apps.laundering.views", "from apps.intake.views import job"),
    (house_rules.arrows_between_apps, "apps.laundering.views", "from ..measuring import queries"),
    (house_rules.arrows_between_apps, "apps.front.views", "from labsite import settings"),
    (house_rules.impurity_of_calc, "apps.calc.x", "import django"),
    (house_rules.impurity_of_calc, "apps.calc.x", "def f():\n    from django.db import models"),
    (house_rules.impurity_of_calc, "apps.calc.x", "from apps.core import clock"),
    (house_rules.impurity_of_calc, "apps.calc.x", "from pathlib import Path"),
    (house_rules.impurity_of_calc, "apps.calc.x", "from datetime import datetime\nnow = datetime.now()"),
    (house_rules.signals, "apps.intake.apps", "from django.db.models.signals import post_save"),
    (house_rules.signals, "apps.intake.models", "from django.dispatch import receiver"),
    (house_rules.admin, "apps.intake.admin", ""),
    (house_rules.admin, "apps.intake.models", "from django.contrib import admin"),
    (house_rules.overridden_saves, "apps.intake.models", "class Job:\n    def save(self): ..."),
    (house_rules.overridden_saves, "apps.intake.models", "class Job:\n    def delete(self): ..."),
    (house_rules.lengths, "apps.intake.services", "x = 1\n" * 401),
    (house_rules.lengths, "apps.intake.services", "def f():\n" + "    x = 1\n" * 60),
    (house_rules.clocks, "apps.intake.services", "at = timezone.now()"),
    (house_rules.clocks, "apps.intake.forms", "def f():\n    return datetime.now(UTC)"),
    (house_rules.clocks, "apps.intake.queries", "day = timezone.localdate()"),
    (house_rules.clocks, "apps.intake.queries", "day = date.today()"),
]


@pytest.mark.parametrize(("check", "name", "source"), BAD)
def test_bites(check, name, source):
    assert check(Module(name, source)) != []


GOOD = [
    (house_rules.arrows_between_apps, "apps.laundering.views", "from apps.accounts.gates import role_required"),
    (house_rules.arrows_between_apps, "apps.laundering.guards", "from apps.trail.guarding import Guard"),
    (house_rules.arrows_between_apps, "apps.laundering.services", "from apps.intake.services import advance"),
    (
        house_rules.impurity_of_calc,
        "apps.calc.x",
        "from decimal import Decimal\nfrom apps.calc.errors import CalcError",
    ),
    (house_rules.lengths, "apps.intake.services", "def f():\n" + "    x = 1\n" * 59),
    (house_rules.clocks, "apps.intake.services", "from apps.core import clock\nday = timezone.localdate(at)"),
    (house_rules.clocks, "apps.intake.views", "at = timezone.now()"),
]


@pytest.mark.parametrize(("check", "name", "source"), GOOD)
def test_lets_pass(check, name, source):
    assert check(Module(name, source)) == []


@pytest.mark.parametrize(
    "sources",
    [
        {"apps.intake.queries": "from apps.intake import services"},
        {"apps.intake.models": "def f():\n    from apps.intake.queries import open_jobs"},
        {"apps.intake.services.receiving": "from apps.intake.forms import JobForm"},
        {"apps.intake.labels": "from apps.intake.views import job"},
        {"apps.intake.queries": "from apps.intake import helper", "apps.intake.helper": "import apps.intake.views"},
    ],
)
def test_layers_bite(sources):
    assert house_rules.arrows_inside_apps([Module(*pair) for pair in sources.items()]) != []


def test_layers_let_a_pure_helper_pass():
    sources = {"apps.intake.models": "from apps.intake import codes", "apps.intake.codes": "import re"}
    assert house_rules.arrows_inside_apps([Module(*pair) for pair in sources.items()]) == []


SERVICE = """
from django.db import transaction
from apps.trail import services as trail

def silent(*, job, by, at):
    job.save(update_fields=["notes"])

def through_another(*, job, by, at):
    silent(job=job, by=by, at=at)

def speaks(*, job, by, at):
    Sample.objects.filter(job=job).update(letter="A")
    _write_down(job, by, at)

def only_reads(*, job):
    facts = {}
    facts.update(a=1)
    return facts

def _write_down(job, by, at):
    trail.record(stream=job.stream, kind="x", by=by, at=at, facts={})
"""


def test_a_silent_service_is_found():
    modules = [Module("apps.intake.services", SERVICE), *(module for module in ours() if module.app == "trail")]
    silent = [name for name in trail_rule.services_without_entry(modules) if name.startswith("apps.intake")]
    assert silent == ["apps.intake.services.silent", "apps.intake.services.through_another"]


def test_a_package_of_services_is_seen_through():
    modules = [
        Module("apps.intake.services", "from apps.intake.services.desk import receive"),
        Module("apps.intake.services.desk", SERVICE.replace("speaks", "receive")),
        Module("apps.measuring.services", "from apps.intake.services import receive\ndef enter():\n    receive()"),
        *(module for module in ours() if module.app == "trail"),
    ]
    assert "apps.measuring.services.enter" not in trail_rule.services_without_entry(modules)


def test_a_service_called_by_place_is_found():
    modules = [Module("apps.intake.services", "def move(job, at):\n    job.save()")]
    assert trail_rule.services_called_by_place(modules) == ["apps.intake.services.move"]


@pytest.mark.parametrize("source", ["Job.objects.create(number='x')", "job.save()", "jobs.filter(pk=1).update(a=1)"])
def test_a_writing_page_is_found(source):
    assert trail_rule.writes_outside_services([Module("apps.intake.views", f"def f(job, jobs):\n    {source}")]) != []
