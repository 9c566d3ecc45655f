"""A session that ends while somebody types: signed in again, what was typed goes on."""

from apps.accounts.models import Customer
from apps.intake.models import Job
from tests.cast import PASSWORD, LabTestCase
from tests.intake.desk import a_sheet

NEW = {"key": "", "name": "Weberei & Söhne", "address": "Line one\nLine two", "contact": "", "email": ""}


class KeptTests(LabTestCase):
    def come_in(self, follow=True, **more):
        where = {"username": "fran", "password": PASSWORD, "next": "/kept/", **more}
        return self.client.post("/sign-in/", where, follow=follow)

    def test_what_was_typed_goes_on_after_signing_in(self):
        answer = self.client.post("/customers/new/", NEW)
        self.assertRedirects(answer, "/sign-in/?next=/kept/")
        page = self.come_in()
        self.assertContains(page, "What you typed is still here")
        self.assertContains(page, 'action="/customers/new/"')
        fields = dict(page.context["fields"])
        self.assertEqual({**fields, "key": ""}, NEW)
        self.client.post(page.context["path"], fields)
        self.assertEqual(Customer.objects.get(name=NEW["name"]).address, NEW["address"])

    def test_a_whole_sheet_comes_through(self):
        data = a_sheet()
        self.client.post("/receiving/new/", data)
        page = self.come_in()
        sent: dict[str, list[str]] = {}
        for name, value in page.context["fields"]:
            sent.setdefault(name, []).append(value)
        self.client.post(page.context["path"], sent)
        self.assertEqual(Job.objects.count(), 1)

    def test_it_is_gone_once_it_was_thrown_away_or_nothing_was_kept(self):
        self.client.post("/customers/new/", NEW)
        self.come_in()
        self.client.post("/kept/")
        self.assertRedirects(self.client.get("/kept/"), "/", fetch_redirect_response=False)

    def test_no_password_and_no_token_is_kept(self):
        self.client.post("/people/new/", {"username": "x", "password": "secret-one", "csrfmiddlewaretoken": "t"})
        self.assertNotIn("secret-one", str(dict(self.client.session)))
        self.assertNotIn("csrf", str(self.client.session["kept_form"]))

    def test_too_much_is_not_kept(self):
        self.client.post("/customers/new/", {"name": "x" * 400_001})
        self.assertNotIn("kept_form", self.client.session)

    def test_signing_out_forgets_it(self):
        self.client.post("/customers/new/", NEW)
        self.come_in()
        self.client.post("/sign-out/")
        self.come_in()
        self.assertNotIn("kept_form", self.client.session)

    def test_nothing_is_done_by_who_may_not(self):
        self.client.post("/people/new/", {"username": "x"})
        page = self.come_in(username="casey")
        self.assertEqual(self.client.post(page.context["path"], {"username": "x"}).status_code, 403)
