"""The document and the house say the same: held by another reader of OpenAPI, and by questions at random."""

import json
import os
import re
import uuid
from datetime import timedelta
from pathlib import Path
from typing import NoReturn

import pytest
from django.core.servers.basehttp import WSGIRequestHandler
from django.urls import Resolver404, resolve
from django.utils import timezone

from apps.accounts.services import make_token
from apps.api.document import document
from apps.api.operations import BASE, JSON, OPERATIONS
from apps.api.schemas import SCHEMAS
from apps.intake.queries import label_code
from apps.measuring.models import Reading
from tests.api import outside
from tests.api.support import ApiTestCase
from tests.cast import Cast, a_marked_request, after_cycle, with_originals
from tests.reporting.support import an_issued_report

FEW = 5
EXAMPLES = int(os.environ.get("FULLING_API_EXAMPLES", FEW))  # of each operation; tests/faults/api asks for more
SEED = int(os.environ.get("FULLING_API_SEED", "26"))


def or_leave_out(error: outside.CannotBeMade) -> NoReturn:
    if "FULLING_REQUIRE_ALL" in os.environ:
        pytest.fail(f"schemathesis could not be brought in: {error}")
    pytest.skip(f"schemathesis could not be brought in: {error}")


class DocumentTests(ApiTestCase):
    def test_it_is_open_to_all(self):
        told = self.client.get(f"{BASE}/openapi.json")
        self.assertEqual(told.json(), json.loads(json.dumps(document("http://testserver"))))
        self.assertEqual(told.json()["openapi"], "3.1.0")

    def test_every_operation_has_its_address(self):
        for operation in OPERATIONS.values():
            address = BASE + re.sub(r"{\w+}", "26-00001A", operation.path)
            with self.subTest(address=address):
                try:
                    view = resolve(address).func
                except Resolver404:
                    self.fail("no such address")
                self.assertEqual(view.allowed_roles, operation.roles)

    def test_every_reference_leads_somewhere(self):
        told = document("http://testserver")
        for name in re.findall(r'"#/components/(\w+/\w+)"', json.dumps(told)):
            part, _, of = name.partition("/")
            self.assertIn(of, told["components"][part])
        used = set(re.findall(r'"#/components/schemas/(\w+)"', json.dumps(told)))
        self.assertEqual(set(SCHEMAS) - used, set())

    def test_the_page_for_people(self):
        for person in (self.bea, self.casey):
            self.sign_in(person)
            page = self.client.get("/api/")
            self.assertContains(page, "GET /api/1/reports/{number}")
            self.assertEqual("POST /api/1/readings" in page.content.decode(), person == self.bea)
        self.assertContains(self.client.get("/tokens/"), 'href="/api/"')


@pytest.mark.once
def test_another_reader_finds_it_valid(tmp_path):
    path = tmp_path / "openapi.json"
    path.write_text(json.dumps(document("http://testserver")))
    try:
        assert outside.validate(path) == ""
        path.write_text(json.dumps({**document("http://testserver"), "paths": {"jobs": {"get": {}}}}))
        assert outside.validate(path) != ""
    except outside.CannotBeMade as error:
        or_leave_out(error)


def real_things(cast: Cast) -> dict[str, list[str]]:
    """A job at each stage, and what can be asked for by name."""
    now = timezone.now() - timedelta(hours=1)
    marked = a_marked_request(cast, at=now)
    owed = with_originals(cast, a_marked_request(cast, at=now), at=now)
    after_cycle(cast, owed, at=now)
    report = an_issued_report(cast, at=now)
    other = an_issued_report(cast, at=now, customer=cast.zweitfaden)
    pieces = [*marked.specimens.all(), *owed.specimens.all()]
    return {
        "jobs": [marked.sample.job.number, owed.sample.job.number, other.job.number],
        "reports": [report.number, other.number],
        "labels": [label_code(piece.code) for piece in pieces],
    }


def with_real_things(told: dict, real: dict[str, list[str]]) -> dict:
    """The same document with names that are there among those drawn, so that chance comes further than to 404."""
    told = json.loads(json.dumps(told))
    for path, operations in told["paths"].items():
        kind = {"jobs": "jobs", "reports": "reports", "specimens": "labels"}.get(path.split("/")[1])
        for operation in operations.values():
            for parameter in operation["parameters"]:
                if kind and (parameter["in"] == "path" or parameter["name"] == "after"):
                    parameter["schema"] = {"anyOf": [{"enum": real[kind]}, parameter["schema"]]}
    measured = told["components"]["schemas"]["Measured"]["properties"]
    measured["specimen"] = {"anyOf": [{"enum": real["labels"]}, measured["specimen"]]}
    measured["value"] = {"anyOf": [{"enum": ["250", "249.5", "9 7/8", "-2.5"]}, measured["value"]]}
    measured["stage"] = {"anyOf": [{"enum": [0, 1]}, measured["stage"]]}
    measured["pair"] = {"anyOf": [{"enum": [1, 2, 3]}, measured["pair"]]}
    one = {"specimen": real["labels"][0], "direction": "length", "pair": 1, "stage": 0, "value": "250", "unit": "mm"}
    told["paths"]["/readings"]["post"]["requestBody"]["content"][JSON]["example"] = {"readings": [one]}
    return told


@pytest.fixture
def ask_at_random(live_server, people: Cast, transactional_db, tmp_path: Path, monkeypatch):
    """Questions to a house with work in it, as a person; `leave_out` takes an answer out of the document."""
    monkeypatch.setattr("apps.api.views.door.MOST_A_MINUTE", 10**9)
    # Else an answer in two packets waits 40 ms for the other side's word that it has the first.
    monkeypatch.setattr(WSGIRequestHandler, "disable_nagle_algorithm", True)
    told = with_real_things(document(live_server.url), real_things(people))
    path = tmp_path / "openapi.json"

    def ask(person, *, leave_out: tuple[str, str] | None = None, **how) -> tuple[bool, str]:
        shown = json.loads(json.dumps(told))
        if leave_out:
            del shown["paths"][leave_out[0]]["get"]["responses"][leave_out[1]]
        path.write_text(json.dumps(shown))
        ends_on = timezone.localdate() + timedelta(days=2)
        text = make_token(name=str(uuid.uuid4()), ends_on=ends_on, by=person, at=timezone.now())[1]
        try:
            return outside.ask_at_random(path, f"{live_server.url}{BASE}", text, seed=SEED, **how)
        except outside.CannotBeMade as error:
            return or_leave_out(error)

    return ask


@pytest.mark.postgres_only
def test_no_answer_is_undocumented(ask_at_random, people: Cast):
    """Questions good and bad, as a manager and as a customer's person."""
    for person, borders in ((people.mara, True), (people.casey, EXAMPLES > FEW)):
        well, told = ask_at_random(person, examples=EXAMPLES, borders=borders)
        print(told[-2000:])
        assert well, told[-8000:]
    kept = Reading.objects.filter(read_by=people.mara).count()
    print(f"{kept} readings were kept meanwhile")
    assert kept, "no question came as far as a reading"


@pytest.mark.postgres_only
def test_an_undocumented_answer_is_found(ask_at_random, people: Cast):
    well, told = ask_at_random(
        people.mara, examples=5, borders=False, only="get_job", leave_out=("/jobs/{number}", "404")
    )
    assert not well and "Undocumented status code" in told, told[-8000:]
