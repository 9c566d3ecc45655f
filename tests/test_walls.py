"""Who sees what: customers from each other, roles from each other, and everybody from what is not there."""

import re
from unittest import mock

import pytest
from django.http import HttpResponse
from django.test import Client

from apps.accounts.models import Customer, Role, User
from apps.intake.models import Job, Photo, Sample
from apps.reporting import services as reporting
from apps.reporting.models import Report
from apps.trail.models import TrailEntry
from tests.walls.ended import Ended
from tests.walls.headers import Headers
from tests.walls.house import STAFF, TODAY, Address, HouseTestCase, addresses, patterns
from tests.walls.page import ONE_TIME, Page
from tests.walls.strangers import Strangers
from tests.walls.values import well_filled
from tests.walls.walker import is_page

FILES = (".pdf", ".csv", ".xlsx", ".json")


def pages(most: int = 99) -> list[Address]:
    """What a session opens; programs have a door of their own."""
    return [
        address
        for address in addresses(most)
        if not address.by_token and not address.path.startswith(("/api/1/", "/api/2/"))
    ]


def same(answer: HttpResponse) -> bytes:
    """A page without what differs from one time to the next."""
    return ONE_TIME.sub(b"", answer.content)


class Companies:
    """Casey is of Quellbach, Dana of Zweitfaden."""

    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.casey, cls.dana = (User.objects.get(username=name) for name in ("casey", "dana"))
        mara = User.objects.get(username="mara")
        ready = Job.objects.get(
            customer=cls.dana.customer, samples__description__startswith="Single", purchase_order="ZM 88/2"
        )
        jersey = ready.samples.get(description__startswith="Single jersey").requests.get()
        cls.hers = reporting.approve(request_ids=[jersey.pk], password_ok=True, by=mara, at=TODAY)
        reporting.build_pending(limit=5, now=TODAY)

    def of_company(self, customer: Customer) -> list[str]:
        jobs = Job.objects.filter(customer=customer)
        shown = Photo.objects.values_list("blob", flat=True)
        found = [path for job in jobs for path in (f"/my/{job.number}/", f"/jobs/{job.number}/")]
        for report in Report.objects.filter(job__in=jobs):
            found += [f"/reports/{report.number}{end}" for end in ("/", *FILES)]
            found += [f"/reports/{report.number}/photos/{sha}.jpg" for sha in shown]
        return found

    def test_another_companys_thing_is_not_there(self):
        """404, and the very page of what nobody has: for every way of asking."""
        for somebody, other in ((self.casey, self.dana), (self.dana, self.casey)):
            self.client.force_login(somebody)
            paths = self.of_company(other.customer)
            self.assertGreaterEqual(len(paths), 9)
            nothing = self.client.get("/jobs/26-99999X/")
            for path in paths:
                for ask in (
                    lambda path: self.client.get(path),
                    lambda path: self.client.head(path),
                    lambda path: self.client.get(path, headers={"HX-Request": "true"}),
                    lambda path: self.client.get(path, headers={"If-None-Match": "*"}),
                    lambda path: self.client.get(path, headers={"If-Modified-Since": "Thu, 01 Jan 2026 00:00:00 GMT"}),
                    lambda path: self.client.get(path, headers={"Range": "bytes=0-1"}),
                ):
                    with self.subTest(somebody.username, path=path):
                        answer = ask(path)
                        self.assertEqual(answer.status_code, 404)
                        self.assertNotIn("ETag", answer)
                        if answer.content:
                            self.assertEqual(same(answer), same(nothing))

    def test_a_report_without_its_file_is_not_there_yet(self):
        self.client.force_login(self.casey)
        nothing = self.client.get("/jobs/26-99999X/")
        with mock.patch("apps.reporting.services.files.build", side_effect=ValueError("no ink")):
            pending = Report.objects.filter(files=None)
            for report in pending:
                for end in ("/", *FILES):
                    answer = self.client.get(f"/reports/{report.number}{end}")
                    self.assertEqual((answer.status_code, same(answer)), (404, same(nothing)))

    def test_the_lab_s_own_pages_are_closed_whatever_lies_behind(self):
        """403 for a customer, and the same page for what is there, what is not, and what is another's."""
        self.client.force_login(self.casey)
        closed = self.client.get("/people/")
        self.assertEqual(closed.status_code, 403)
        asked = 0
        for address in pages():
            if address.roles is not None and Role.CUSTOMER not in address.roles:
                for answer in (self.client.get(address.path), self.client.post(address.path)):
                    if answer.status_code != 405:
                        asked += 1
                        with self.subTest(address.path):
                            self.assertEqual((answer.status_code, same(answer)), (403, same(closed)))
        self.assertGreater(asked, 100)

    def test_nothing_of_the_others_stands_in_a_page(self):
        """Everything that the one company may open, read through for the names of the other, and for the lab's own."""
        words = {}
        for customer in Customer.objects.all():
            jobs = Job.objects.filter(customer=customer)
            samples = Sample.objects.filter(job__in=jobs)
            words[customer] = {customer.name, customer.contact, customer.email}
            words[customer] |= set(jobs.values_list("number", flat=True)) | set(samples.values_list("code", flat=True))
            words[customer] |= set(jobs.values_list("purchase_order", flat=True))
        Job.objects.update(notes="not for the customer's eyes")
        for somebody, other in ((self.casey, self.dana), (self.dana, self.casey)):
            self.client.force_login(somebody)
            unwanted = words[other.customer] - words[somebody.customer] - {""} | {"not for the customer"}
            read = 0
            for path in [
                "/my/",
                "/my/?page=2",
                "/my/reports/",
                "/my/announce/",
                "/tokens/",
                "/password/",
                *self.of_company(somebody.customer),
            ]:
                answer = self.client.get(path, follow=True)
                if answer.status_code == 200 and not path.endswith((".pdf", ".xlsx", ".jpg")):
                    read += 1
                    text = answer.content.decode()
                    self.assertEqual([word for word in unwanted if word in text], [], path)
            self.assertGreater(read, 6)

    def test_no_figure_before_its_report(self):
        """Readings are the lab's until the manager answers for them."""
        self.client.force_login(self.casey)
        job = Job.objects.get(purchase_order="QH-1112", reports=None)
        text = self.client.get(f"/my/{job.number}/").content.decode()
        readings = set(job.samples.values_list("requests__specimens__pairs__readings__text", flat=True)) - {None}
        self.assertGreaterEqual(len(readings), 3)
        self.assertEqual([reading for reading in readings if re.search(rf"\b{re.escape(reading)}\b", text)], [])

    def test_neither_scan_nor_search_is_a_customers(self):
        self.client.force_login(self.casey)
        own = Job.objects.filter(customer=self.casey.customer).first()
        for path in (f"/scan/?q={own.number}", "/scan/?q=26", "/receiving/?q=26", "/customers/?q=e"):
            self.assertEqual(self.client.get(path).status_code, 403)

    def test_who_changes_company_sees_the_new_one_s_only(self):
        """The open session goes with the person's row, not with what it once said."""
        self.client.force_login(self.casey)
        theirs, hers = self.of_company(self.casey.customer), self.of_company(self.dana.customer)
        hers = [path for path in hers if "/photos/" not in path]
        User.objects.filter(pk=self.casey.pk).update(customer=self.dana.customer)
        self.assertEqual({self.client.get(path).status_code for path in theirs}, {404})
        self.assertNotIn(404, {self.client.get(path).status_code for path in hers})


class Roles:
    def test_what_a_role_may_not_is_closed_whatever_lies_behind(self):
        """Real things, asked for by those who have no right: 403 and nothing written, also by htmx."""
        before, asked = TrailEntry.objects.count(), 0
        for who in STAFF:
            roles = self.sign_in(who).roles
            for address in pages():
                if address.roles is None or address.roles & roles:
                    continue
                for answer in (
                    self.client.get(address.path),
                    self.client.post(address.path, {"reason": "x"}, headers={"HX-Request": "true"}),
                ):
                    if answer.status_code != 405:
                        asked += 1
                        with self.subTest(who, path=address.path):
                            self.assertEqual(answer.status_code, 403)
        self.assertEqual(TrailEntry.objects.count(), before)
        self.assertGreater(asked, 200)

    def test_nobody_is_sent_to_the_door_whatever_lies_behind(self):
        for address in pages():
            if address.roles is not None:
                for answer in (self.client.get(address.path), self.client.post(address.path)):
                    if answer.status_code != 405:
                        self.assertEqual(answer.status_code, 302)
                        self.assertTrue(answer.url.startswith("/sign-in/?next="), answer.url)

    def test_no_act_without_the_page_s_own_token(self):
        """A form on somebody else's site, sent by a signed-in browser, does nothing: wherever one is taken."""
        self.client = Client(enforce_csrf_checks=True)
        self.sign_in("mara")
        before, refused = TrailEntry.objects.count(), set()
        for address in pages(1):
            answer = self.client.post(address.path, {"next": "/"}, headers={"HX-Request": "true"})
            if answer.status_code != 405:
                refused.add(address.view)
                with self.subTest(address.path):
                    self.assertEqual(answer.status_code, 403)
                    self.assertIn(b"Nothing was saved", answer.content)
        self.assertEqual(TrailEntry.objects.count(), before)
        self.assertGreaterEqual(len(refused), 35)
        self.assertIn("accounts:sign_in", refused)
        self.assertIn("accounts:sign_out", refused)

    def test_no_verb_but_those_of_a_browser(self):
        self.sign_in("mara")
        for address in pages(1):
            for verb in ("put", "patch", "delete", "options", "trace"):
                with self.subTest(address.path, verb=verb):
                    self.assertEqual(getattr(self.client, verb)(address.path).status_code, 405)

    def test_asking_for_the_head_alone_answers_alike(self):
        for who in ("mara", "casey"):
            self.sign_in(who)
            for address in pages(1):
                whole, head = self.client.get(address.path), self.client.head(address.path)
                with self.subTest(who, path=address.path):
                    self.assertEqual(head.status_code, whole.status_code)
                    self.assertEqual(head.content, b"")

    def test_a_page_asked_for_by_script_is_the_same_page(self):
        """htmx gets what the browser gets: the same gate, the same page."""
        for who in ("lou", "casey"):
            self.sign_in(who)
            for address in pages(1):
                plain = self.client.get(address.path)
                asked = self.client.get(address.path, headers={"HX-Request": "true", "HX-Target": "main"})
                self.assertEqual(asked.status_code, plain.status_code, address.path)
                if is_page(plain) and plain.status_code != 200:
                    self.assertEqual(same(asked), same(plain))

    def test_every_gate_names_its_roles(self):
        """`open_to_all` is for the door, the way out and the watch; nothing else stands open."""
        self.assertEqual(
            {view for view, pattern in patterns() if pattern.callback.allowed_roles is None},
            {
                *("accounts:sign_in", "accounts:sign_out", "accounts:forgotten", "accounts:choose_password"),
                *("front:health", "laundering:worker", "reporting:verify", "api:openapi", "api:nothing"),
            },
        )

    def test_every_form_on_an_issued_request_is_refused_with_a_sentence(self):
        """The page of a locked job may be old: what its forms said when it was open is refused, and nothing changes."""
        report = Report.objects.filter(withdrawal=None, amendments=None).earliest("pk")
        (cover,) = report.covers.select_related("request__sample")
        code, number = cover.request.sample.code, report.job.number
        self.sign_in("mara")
        before = TrailEntry.objects.filter(stream=report.job.stream).count()
        tried = 0
        for path in (
            f"/jobs/{number}/correct/",
            f"/samples/{code}/",
            f"/samples/{code}/correct/",
            f"/samples/{code}/requests/1/change/",
            f"/samples/{code}/readings/",
            f"/approvals/{number}/",
        ):
            for form in Page(self.client.get(path).content.decode(), path).forms:
                if form.of("csrfmiddlewaretoken") and form.path.startswith((path, "/approvals/", "/samples/")):
                    sent = well_filled(form)
                    for name in ("purchase_order", "colour", "limits_source", "review-remark", "cycles"):
                        if name in sent:
                            sent[name] = ["7"]
                    if form.path.endswith(("/move/", "/add-request/")):
                        continue  # a sample is moved and tested anew after its report too
                    answer = self.client.post(form.action, sent)
                    tried += 1
                    with self.subTest(form.action):
                        self.assertEqual(answer.status_code, 422, form.action)
                        self.assertTrue(Page(answer.content.decode()).told)
        self.assertEqual(TrailEntry.objects.filter(stream=report.job.stream).count(), before)
        self.assertGreaterEqual(tried, 5)


@pytest.mark.once
class WallTests(Companies, Strangers, Roles, Ended, Headers, HouseTestCase):
    """One house for all of them: filling it takes longer than walking round it."""
