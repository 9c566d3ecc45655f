"""Measuring devices: what they send is kept whole, once, by the rules of the sheet, or not at all."""

import json
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from apps.core import clock
from apps.intake.models import Specimen
from apps.intake.queries import label_code
from apps.measuring.models import Reading
from apps.trail.models import TrailEntry
from tests.api.support import ApiTestCase, a_reading, a_token, send
from tests.cast import NOON, a_marked_request, in_a_load, out_of_the_load, with_originals
from tests.racing import at_once
from tests.reporting.support import an_issued_report, requests_of

KEY = "6f1c3a52-8f0e-4c39-9a55-0b6d2a1f7e11"


class SendTests(ApiTestCase):
    def setUp(self):
        super().setUp()
        self.request = a_marked_request(self)
        self.first, self.second, self.third = self.request.specimens.order_by("number")

    def send(self, *readings, person=None, key=None, **more):
        return self.readings(person or self.bea, {"readings": list(readings), **more}, key=key)

    def test_one_reading(self):
        response = self.send(a_reading(self.first, "250.5"))
        self.assertEqual(response.status_code, 201)
        told = response.json()
        self.assertFalse(told["repeated"])
        self.assertEqual(told["readings"][0]["mm"], "250.5")
        row = Reading.objects.get()
        self.assertEqual((row.read_by, row.text, row.unit, row.stage, row.at), (self.bea, "250.5", "mm", 0, NOON))

    def test_many_in_the_order_sent(self):
        sent = [a_reading(self.second, "251"), a_reading(self.first, "250"), a_reading(self.first, "249.5", pair=2)]
        told = self.send(*sent).json()["readings"]
        self.assertEqual([row["value"] for row in told], ["251", "250", "249.5"])
        self.assertEqual([row["specimen"] for row in told], [one["specimen"] for one in sent])

    def test_jobs_and_units_may_be_mixed(self):
        other = a_marked_request(self, customer=self.zweitfaden).specimens.first()
        sent = [a_reading(self.first, "250"), a_reading(other, "25.1", unit="cm"), a_reading(self.first, "9.9", pair=2)]
        sent[2]["unit"] = "in"
        response = self.send(*sent, confirmed=True, remark="marked by hand")
        self.assertEqual(response.status_code, 201, response.content)
        self.assertEqual([row["mm"] for row in response.json()["readings"]], ["250", "251", "251.46"])

    def test_the_last_one_moves_the_specimen_on(self):
        cells = [(direction, pair) for direction in ("length", "width") for pair in (1, 2, 3)]
        self.send(*[a_reading(self.first, "250", direction=direction, pair=pair) for direction, pair in cells])
        self.first.refresh_from_db()
        self.assertEqual(self.first.stage, Specimen.Stage.READY)

    def test_after_a_cycle_as_percent(self):
        with_originals(self, self.request, "0", unit="pct")
        out_of_the_load(self, in_a_load(self, self.request))
        response = self.send(a_reading(self.first, "-2.5", stage=1, unit="pct"))
        self.assertEqual(response.json()["readings"][0]["mm"], "243.75", response.content)

    def test_the_trail_says_by_which_token(self):
        self.send(a_reading(self.first), key=KEY)
        entry = TrailEntry.objects.get(key=KEY)
        self.assertEqual((entry.kind, entry.actor_name, entry.facts["of"]), ("readings.sent", "Bea Bench", ["A1"]))
        self.sign_in(self.mara)
        page = self.client.get(f"/jobs/{self.request.sample.job.number}/")
        self.assertContains(page, f"Readings came by the token {entry.facts['token']}: A1 (1 values)")

    def test_sent_again_it_is_answered_with_what_it_did(self):
        sent = [a_reading(self.second, "251"), a_reading(self.first, "250")]
        first, again = self.send(*sent, key=KEY), self.send(*sent, key=KEY)
        self.assertEqual((first.status_code, again.status_code), (201, 200))
        self.assertEqual(again.json(), {**first.json(), "repeated": True})
        self.assertEqual(Reading.objects.count(), 2)
        self.assertEqual(TrailEntry.objects.filter(kind="readings.sent").count(), 1)

    def test_a_key_is_for_one_send(self):
        self.send(a_reading(self.first), key=KEY)
        self.refused(self.send(a_reading(self.first, "251"), key=KEY), 409, "key_reused", "Idempotency-Key")
        self.refused(self.send(a_reading(self.first), key=KEY, person=self.mara), 409, "key_reused", "Idempotency-Key")

    def test_without_a_key(self):
        headers = {"authorization": f"Bearer {self.token(self.bea)}"}
        body = json.dumps({"readings": [a_reading(self.first)]})
        for key in (None, "", "1", "{" + KEY + "}", f"urn:uuid:{KEY}", KEY.replace("-", ""), "x" * 10_000):
            with self.subTest(key=key and key[:20]):
                more = headers if key is None else {**headers, "idempotency-key": key}
                response = self.client.post("/api/1/readings", body, content_type="application/json", headers=more)
                self.refused(response, 422, "key", "Idempotency-Key")
        self.assertEqual(Reading.objects.count(), 0)

    def test_who_may(self):
        for person, status in [(self.fran, 403), (self.lou, 403), (self.casey, 403), (self.mara, 201)]:
            self.assertEqual(self.send(a_reading(self.first), person=person).status_code, status)

    def test_all_or_nothing(self):
        other = a_marked_request(self).specimens.first()
        error = self.refused(
            self.send(a_reading(self.first), a_reading(other, "250", stage=1)), 422, "cells", "/readings/1/value"
        )
        self.assertEqual(len(error["each"]), 1)
        self.assertFalse(Reading.objects.exists() or TrailEntry.objects.filter(kind__startswith="readings").exists())

    def test_the_rules_of_the_sheet(self):
        self.send(a_reading(self.first, "250"))
        for sent, code in [
            (a_reading(self.first, "251"), "cells"),
            (a_reading(self.first, "12", pair=2), "second_look"),
            (a_reading(self.first, "1e999", pair=2), "cells"),
            (a_reading(self.first, "250", pair=2, stage=1), "cells"),
        ]:
            with self.subTest(sent=sent):
                self.refused(self.send(sent), 422, code, "/readings/0/value")
        self.refused(self.send(a_reading(self.first, "150", pair=2), confirmed=True), 422, "no_reason", "/remark")
        self.assertEqual(self.send(a_reading(self.first, "250")).status_code, 201)  # the same again changes nothing
        self.assertEqual(Reading.objects.count(), 1)

    def test_a_slip_stands_once_it_is_looked_at_again(self):
        odd = a_reading(self.first, "150")
        self.assertEqual(self.send(odd, confirmed=True, remark="marked at 150").status_code, 201)
        self.assertIn("marked at 150", self.request.deviations.get().text)

    def test_what_names_nothing_is_told_each(self):
        label = label_code(self.first.code)
        wrong = label[:-1] + ("A" if label[-1] != "A" else "B")
        gone = label_code("26-99999X-A1")
        error = self.refused(
            self.send(
                a_reading(self.first),
                {**a_reading(self.first), "specimen": wrong},
                {**a_reading(self.first), "specimen": gone},
                a_reading(self.first, pair=9),
                a_reading(self.first),
            ),
            422,
            "unknown",
            "/readings/1/specimen",
        )
        places = [one["field"] for one in error["each"]]
        self.assertEqual(places, ["/readings/1/specimen", "/readings/2/specimen", "/readings/3/pair", "/readings/4"])

    def test_an_issued_report_stays_as_it_is(self):
        piece = requests_of(an_issued_report(self).job)[0].specimens.first()
        self.refused(self.send(a_reading(piece)), 422, "request_locked", "/readings/0")

    def test_the_moment_it_was_read(self):
        with clock.set_to(NOON + timedelta(hours=1)):
            self.send(a_reading(self.first), at="2026-03-02T13:30:00+01:00")
            self.assertEqual(Reading.objects.get().at, NOON + timedelta(minutes=30))
            for at, code in [("2026-03-02T14:00:00Z", "future"), ("2026-03-02T11:00:00Z", "before_previous_step")]:
                self.refused(self.send(a_reading(self.first, pair=2), at=at), 422, code, "/readings/0")

    def test_one_more_reading_is_one_more_row(self):
        self.told(self.bea, "me")
        places = [(direction, pair) for direction in ("length", "width") for pair in (1, 2, 3)]
        rest = [a_reading(piece, direction=d, pair=p) for piece in (self.second, self.third) for d, p in places]
        with CaptureQueriesContext(connection) as two:
            self.send(a_reading(self.first), a_reading(self.first, pair=2))
        with CaptureQueriesContext(connection) as twelve:
            self.assertEqual(self.send(*rest).status_code, 201)
        moved_on = 2  # specimens that are complete: whether they are is asked, and written
        self.assertLessEqual(len(twelve), len(two) + 10 + 3 * moved_on)


class BodyTests(ApiTestCase):
    def setUp(self):
        super().setUp()
        self.piece = a_marked_request(self).specimens.first()
        self.plain = {"readings": [a_reading(self.piece)]}

    def test_it_is_json(self):
        for media in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "text/json", "x"):
            response = self.readings(self.bea, self.plain, content_type=media)
            self.refused(response, 415, "media_type", "Content-Type")
        self.assertEqual(
            self.readings(self.bea, self.plain, content_type="application/json; charset=utf-8").status_code, 201
        )

    def test_what_is_no_json_as_it_should_be(self):
        text = json.dumps(self.plain)
        for bad in (
            b"\0",
            b"\xff\xfe",
            b"{",
            text.encode("utf-16"),
            text.replace('"pair": 1', '"pair": NaN').encode(),
            text.replace('"pair": 1', '"pair": Infinity').encode(),
            text.replace('"pair": 1', '"pair": 1, "pair": 2').encode(),
            text.replace('"pair": 1', '"pair": ' + "9" * 5000).encode(),
            b"[" * 100_000,
            b'{"readings":' + b"[" * 50_000 + b"]" * 50_000 + b"}",
            b'{"a":' * 40_000,
        ):
            with self.subTest(bad=bad[:40]):
                response = self.readings(self.bea, bad)
                error = response.json()["error"]
                self.assertEqual((response.status_code, error["code"]), (422, "body"))
                self.assertLess(len(error["sentence"]), 400)
        self.assertEqual(Reading.objects.count(), 0)

    def test_too_large(self):
        self.refused(self.readings(self.bea, b" " * (256 * 1024 + 1)), 413, "too_large")
        self.refused(self.readings(self.bea, b" " * (6 * 1024 * 1024)), 413, "too_large")

    def test_names_and_kinds(self):
        one = self.plain["readings"][0]
        for body, where in [
            (None, ""),
            ([], ""),
            ("x", ""),
            (1, ""),
            ({}, "/readings"),
            ({**self.plain, "note": ""}, ""),
            ({"readings": []}, "/readings"),
            ({"readings": [one] * 201}, "/readings"),
            ({"readings": {}}, "/readings"),
            ({"readings": [None]}, "/readings/0"),
            ({"readings": [{**one, "more": 1}]}, "/readings/0"),
            ({"readings": [{name: one[name] for name in one if name != "unit"}]}, "/readings/0/unit"),
            ({**self.plain, "at": "2026-03-02T12:00:00"}, "/at"),
            ({**self.plain, "at": "2026-02-30T12:00:00Z"}, "/at"),
            ({**self.plain, "confirmed": "yes"}, "/confirmed"),
            ({**self.plain, "remark": "\ud800"}, "/remark"),
            ({**self.plain, "remark": "a\0b"}, "/remark"),
            ({**self.plain, "late_reason": "x" * 301}, "/late_reason"),
            ({**self.plain, "remark": ["x"]}, "/remark"),
        ]:
            with self.subTest(where=where, body=str(body)[:60]):
                self.refused(self.readings(self.bea, body), 422, "body", where)

    def test_bad_values_of_every_member(self):
        bad = [None, "", " ", "\0", "x" * 10_000, "\N{SHEEP}", "\ud83d", -1, 0.5, 10**40, 1e300, True, [], {}, "NaN"]
        for name in self.plain["readings"][0]:
            for value in bad:
                with self.subTest(name=name, value=str(value)[:20]):
                    body = {"readings": [{**self.plain["readings"][0], name: value}]}
                    response = self.readings(self.bea, body)
                    self.assertEqual(response.status_code, 422, response.content)
                    self.assertEqual(response.json()["error"]["field"], f"/readings/0/{name}")
        self.assertEqual(Reading.objects.count(), 0)


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
class TestRaces:
    def sent_at_once(self, people, bodies: list, key: str) -> list:
        token = a_token(people.bea)
        return at_once(*(lambda body=body: send(Client(), token, {"readings": body}, key=key) for body in bodies))

    def test_eight_devices_with_the_same_key_leave_one_row(self, people):
        with clock.set_to(NOON):
            piece = a_marked_request(people).specimens.first()
            answers = self.sent_at_once(people, [[a_reading(piece)]] * 8, KEY)
        assert sorted(answer.status_code for answer in answers) == [200] * 7 + [201]
        assert len({json.dumps(answer.json()["readings"]) for answer in answers}) == 1
        assert Reading.objects.count() == 1
        assert TrailEntry.objects.filter(kind="readings.sent").count() == 1

    def test_the_same_key_for_eight_jobs_is_one_send(self, people):
        """Each holds the locks of its own job; the database says that a key is one act."""
        with clock.set_to(NOON):
            pieces = [a_marked_request(people).specimens.first() for _ in range(8)]
            answers = self.sent_at_once(people, [[a_reading(piece)] for piece in pieces], KEY)
        assert sorted(answer.status_code for answer in answers) == [201] + [409] * 7
        assert Reading.objects.count() == 1

    def test_different_keys_for_one_reading_leave_one_row(self, people):
        with clock.set_to(NOON):
            piece, token = a_marked_request(people).specimens.first(), a_token(people.bea)
            body = {"readings": [a_reading(piece)]}
            answers = at_once(*(lambda: send(Client(), token, body, key=str(uuid.uuid4())) for _ in range(8)))
        assert [answer.status_code for answer in answers] == [201] * 8
        assert Reading.objects.count() == 1
