"""What of the catalogue is offered, and what lies within the accreditation."""

import uuid

from django.db import IntegrityError, transaction

from apps.core.errors import Refusal
from apps.intake.queries import catalogue
from apps.methods import queries, services
from apps.methods.models import Figure, LaunderingProcedure, TestMethod
from apps.trail.queries import timeline
from tests.accounts.bad import BAD
from tests.cast import NOON, LabTestCase
from tests.methods.support import a_figure, confirm, confirm_all, drying, method, used, wash


class OfferTestCase(LabTestCase):
    def setUp(self):
        self.who = {"by": self.mara, "at": NOON}

    def refused(self, code: str, act, field: str | None = None) -> str:
        with self.assertRaises(Refusal) as caught, transaction.atomic():
            act()
        self.assertEqual((caught.exception.code, caught.exception.field), (code, field))
        return str(caught.exception)


class RetireTests(OfferTestCase):
    def test_is_offered_no_more_and_taken_back(self):
        for row in (method(), wash(), drying()):
            services.retire(owner=row.owner, reason="the machine is gone", **self.who)
            offered = catalogue()
            keys = {*offered.methods.values(), *offered.procedures.values(), *offered.dryings.values()}
            self.assertNotIn(row, keys)
            services.take_back(owner=row.owner, **self.who)
            row.refresh_from_db()
            self.assertFalse(row.retired)
            kinds = [entry.kind for entry in timeline(row.owner)]
            self.assertEqual(kinds, ["catalogue.taken_back", "catalogue.retired"])

    def test_a_request_that_has_it_goes_on(self):
        request = used(self)
        services.retire(owner=request.method.owner, reason="a newer edition", **self.who)
        self.assertIn(request.method, catalogue(request).methods.values())

    def test_refuses_what_is_so_already_and_a_missing_reason(self):
        self.refused("reason_missing", lambda: services.retire(owner=wash().owner, reason=" ", **self.who), "reason")
        self.refused("too_long", lambda: services.retire(owner=wash().owner, reason="x" * 201, **self.who), "reason")
        self.refused("already_offered", lambda: services.take_back(owner=wash().owner, **self.who))
        services.retire(owner=wash().owner, reason="gone", **self.who)
        self.refused("already_retired", lambda: services.retire(owner=wash().owner, reason="gone", **self.who))
        self.refused("not_there", lambda: services.take_back(owner="procedure:none", **self.who))

    def test_what_lacks_numbers_is_not_offered(self):
        told = self.refused("not_complete", lambda: services.take_back(owner="method:aatcc-tm135-2014", **self.who))
        self.assertIn("Not known: specimens, pairs in each direction", told)
        for owner in ("procedure:iso-6330-2012-type-c", "drying:aatcc-m6-late-a"):
            self.refused("not_complete", lambda owner=owner: services.take_back(owner=owner, **self.who))

    def test_the_database_agrees(self):
        with self.assertRaises(IntegrityError), transaction.atomic():
            TestMethod.objects.filter(code="aatcc-tm135-2014").update(retired=False)

    def test_the_same_form_twice_is_one_act(self):
        key, owner = uuid.uuid4(), wash().owner
        services.retire(owner=owner, reason="gone", key=key, **self.who)
        services.retire(owner=owner, reason="gone", key=key, **self.who)
        self.assertEqual(timeline(owner).count(), 1)


class ScopeTests(OfferTestCase):
    def test_within_once_every_figure_is_confirmed(self):
        row = method("iso-5077-2007-6330-2012")
        told = self.refused("not_confirmed", lambda: services.set_scope(method_id=row.pk, in_scope=True, **self.who))
        self.assertIn("figures of ISO 3759:2011, ISO 6330:2012 and ISO 5077:2007 are not confirmed yet", told)
        confirm_all(self, row)
        services.set_scope(method_id=row.pk, in_scope=True, **self.who)
        row.refresh_from_db()
        self.assertTrue(row.in_scope)
        self.refused("scope_already", lambda: services.set_scope(method_id=row.pk, in_scope=True, **self.who))
        services.set_scope(method_id=row.pk, in_scope=False, **self.who)
        kinds = [entry.kind for entry in timeline(row.owner)][:2]
        self.assertEqual(kinds, ["method.out_of_scope", "method.in_scope"])

    def test_names_the_one_that_is_left(self):
        row = method()
        confirm_all(self, row)
        figure = Figure.objects.create(owner=row.owner, name="a new one", value="1", source="x", confidence="L")
        told = self.refused("not_confirmed", lambda: services.set_scope(method_id=row.pk, in_scope=True, **self.who))
        self.assertIn("One figure of AATCC TM135-2018 is not confirmed yet: a new one.", told)
        confirm(self, figure)
        services.set_scope(method_id=row.pk, in_scope=True, **self.who)

    def test_a_used_edition_enters_the_accreditation_too(self):
        row = used(self).method
        confirm_all(self, row)
        services.set_scope(method_id=row.pk, in_scope=True, **self.who)

    def test_the_database_agrees(self):
        with self.assertRaises(IntegrityError), transaction.atomic():
            TestMethod.objects.filter(pk=method().pk).update(in_scope=True)


class ActPageTests(LabTestCase):
    WASH = "/methods/washes/aatcc-1-iii/"
    METHOD = "/methods/aatcc-tm135-2018-small/"

    def setUp(self):
        self.sign_in(self.mara)

    def test_offered_no_more_and_again(self):
        for address in (self.WASH, self.METHOD, "/methods/dryings/aatcc-b/", "/methods/extras/aatcc-tm207-2017/"):
            page = self.client.post(f"{address}retire/", {"reason": "the machine is gone"}, follow=True)
            self.assertContains(page, "is offered no more")
            self.assertContains(page, "the machine is gone")
            page = self.client.post(f"{address}take-back/", {}, follow=True)
            self.assertContains(page, "is offered.")
            self.assertContains(page, "Offered again")

    def test_a_refusal_stands_on_the_page(self):
        page = self.client.post("/methods/aatcc-tm135-2014/take-back/")
        self.assertContains(page, "cannot be tested by yet", status_code=422)
        page = self.client.post(f"{self.METHOD}scope/", {"in_scope": "yes"})
        self.assertContains(page, "not confirmed yet", status_code=422)
        self.assertFalse(method().in_scope)

    def test_within_the_accreditation(self):
        confirm_all(self, method())
        page = self.client.post(f"{self.METHOD}scope/", {"in_scope": "yes"}, follow=True)
        self.assertContains(page, "is within the accreditation.")
        self.assertTrue(method().in_scope)
        self.assertContains(self.client.get("/methods/"), "within the accreditation")
        self.client.post(f"{self.METHOD}scope/", {"in_scope": "no"})
        self.assertFalse(method().in_scope)

    def test_bad_input(self):
        for bad in BAD:
            page = self.client.post(f"{self.WASH}retire/", {"reason": bad})
            self.assertIn(page.status_code, (302, 422))
            LaunderingProcedure.objects.filter(code="aatcc-1-iii").update(retired=False)
        self.assertEqual(self.client.post(f"{self.WASH}retire/", {}).status_code, 422)
        for act in ("retire", "take-back", "scope"):
            self.assertEqual(self.client.post(f"/methods/none/{act}/", {"reason": "x"}).status_code, 404)
            self.assertEqual(self.client.get(f"{self.METHOD}{act}/").status_code, 405)

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "casey"):
            self.sign_in(getattr(self, name))
            for address in (f"{self.WASH}retire/", f"{self.WASH}take-back/", f"{self.METHOD}scope/"):
                self.assertEqual(self.client.post(address, {"reason": "x"}).status_code, 403)
        self.sign_in(None)
        self.assertEqual(self.client.post(f"{self.WASH}retire/", {"reason": "x"}).status_code, 302)
        self.assertFalse(wash().retired)


class UnconfirmedTests(LabTestCase):
    def test_of_several_at_once(self):
        rows = [method(), wash(), drying()]
        each = sum(queries.unconfirmed(row).count() for row in rows)
        self.assertEqual(queries.unconfirmed(rows).count(), each)
        self.assertEqual(queries.unconfirmed([row.owner for row in rows]).count(), each)
        confirm(self, a_figure(wash().owner, "agitation"))
        self.assertEqual(queries.unconfirmed(rows).count(), each - 1)
