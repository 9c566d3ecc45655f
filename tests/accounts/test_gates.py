"""The gate in front of every view: where somebody is sent who is not signed in."""

from tests.cast import LabTestCase


class NotSignedInTests(LabTestCase):
    def way_back(self, method: str, path: str, **headers) -> str:
        response = getattr(self.client, method)(path, headers=headers)
        self.assertEqual(response.status_code, 302)
        return response.url

    def test_a_page_is_come_back_to(self):
        self.assertEqual(self.way_back("get", "/people/?page=2"), "/sign-in/?next=/people/%3Fpage%3D2")

    def test_a_form_that_came_too_late_leads_back_to_its_page(self):
        referer = "http://testserver/customers/new/?from=job"
        self.assertEqual(
            self.way_back("post", "/customers/new/", referer=referer), "/sign-in/?next=/customers/new/%3Ffrom%3Djob"
        )

    def test_a_form_from_elsewhere_leads_home(self):
        for referer in ("", "http://elsewhere.example/people/", "http://[", "nonsense"):
            with self.subTest(referer):
                self.assertEqual(self.way_back("post", "/customers/new/", referer=referer), "/sign-in/?next=/")
