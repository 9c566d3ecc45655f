"""A database that is gone, busy or full: a plain page, nothing done, and the same form does it once afterwards."""

import uuid
from unittest import mock

import pytest
from django.db import OperationalError, connection
from django.test import Client

from apps.accounts.models import Customer
from tests.cast import LabTestCase

SENTENCES = ("cannot be reached just now", "what you typed is still in the page")


class UnreachableTests(LabTestCase):
    def setUp(self):
        self.client = Client(raise_request_exception=False)
        self.client.force_login(self.fran)

    def test_a_plain_page_and_the_same_form_afterwards(self):
        data = {"key": str(uuid.uuid4()), "name": "Weberei Neu", "address": "", "contact": "", "email": ""}
        with mock.patch("apps.accounts.services.create_customer", side_effect=OperationalError("gone")):
            answer = self.client.post("/customers/new/", data)
        self.assertEqual((answer.status_code, answer["Retry-After"]), (503, "10"))
        for sentence in SENTENCES:
            self.assertContains(answer, sentence, status_code=503)
        for _ in range(2):
            self.client.post("/customers/new/", data)
        self.assertEqual(Customer.objects.filter(name="Weberei Neu").count(), 1)

    def test_anything_else_that_breaks_is_a_500(self):
        with mock.patch("apps.accounts.services.create_customer", side_effect=ZeroDivisionError):
            answer = self.client.post("/customers/new/", {"name": "Weberei Neu"})
        self.assertContains(answer, "Something broke on our side", status_code=500)


@pytest.mark.django_db(transaction=True)
def test_a_disk_that_is_full(people):
    """SQLite's own answer, brought about by a limit on its pages."""
    if connection.vendor != "sqlite":
        pytest.skip("of SQLite's file; PostgreSQL's own tests cover its disk")
    client = Client(raise_request_exception=False)
    client.force_login(people.fran)
    data = {"key": str(uuid.uuid4()), "name": "Weberei Neu", "address": "x\n" * 240, "contact": "", "email": ""}
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA page_count")
        (pages,) = cursor.fetchone()
        cursor.execute(f"PRAGMA max_page_count = {pages}")
        try:
            for _ in range(200):  # until the room in the pages that are there is used up
                answer = client.post("/customers/new/", {**data, "key": str(uuid.uuid4()), "name": str(uuid.uuid4())})
                if answer.status_code != 302:
                    break
            before = Customer.objects.count()
            assert client.post("/customers/new/", data).status_code == 503
            assert Customer.objects.count() == before
        finally:
            cursor.execute("PRAGMA max_page_count = 1073741823")
    for _ in range(2):
        assert client.post("/customers/new/", data).status_code == 302
    assert Customer.objects.filter(name="Weberei Neu").count() == 1
