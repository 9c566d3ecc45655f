import uuid

from django.db import IntegrityError, transaction

from apps.accounts import services
from apps.accounts.models import Role, User
from apps.core.errors import KeyReused, Refusal
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import NOON, LabTestCase, a_person

CHOSEN = "twelve threads a side"


def entries(user: User) -> list[TrailEntry]:
    return list(TrailEntry.objects.filter(stream=f"user:{user.pk}"))


class PeoplePageTests(LabTestCase):
    url = "/people/"

    def test_it_works(self):
        User.objects.filter(pk=self.lou.pk).update(is_active=False)
        self.sign_in(self.mara)
        response = self.client.get(self.url)
        self.assertContains(response, "laundry operator")
        self.assertContains(response, "customer: Quellbach Hemden")
        self.assertContains(response, "may not</span>", count=1)

    def test_who_may(self):
        for name, person in self.cast_by_role().items():
            self.sign_in(person)
            for address in (self.url, "/people/new/", f"/people/{self.fran.pk}/", f"/people/{self.fran.pk}/password/"):
                with self.subTest(name=name, address=address):
                    expected = {"nobody": 302, "mara": 200}.get(name, 403)
                    self.assertEqual(self.client.get(address).status_code, expected)

    def cast_by_role(self) -> dict[str, User | None]:
        names = ("fran", "bea", "lou", "mara", "casey")
        return {"nobody": None, **{name: getattr(self, name) for name in names}}

    def test_it_does_not_grow(self):
        self.sign_in(self.mara)
        with self.assertNumQueries(5):  # session, person, lab, count, people
            self.client.get(self.url)
        for number in range(20):
            a_person(f"more{number}", f"More {number}", customer=self.quellbach)
        with self.assertNumQueries(5):
            self.client.get(self.url)

    def test_it_is_paged(self):
        for number in range(50):
            a_person(f"more{number}", f"More {number:02}", bench=True)
        self.sign_in(self.mara)
        self.assertContains(self.client.get(self.url), "Page 1 of 2")
        for page in ("2", "99", "-1", "x", "\0", "1e999"):
            with self.subTest(page=page):
                self.assertEqual(self.client.get(self.url, {"page": page}).status_code, 200)


class NewPersonTests(LabTestCase):
    url = "/people/new/"

    def add(self, **how):
        data = {"username": "nadia", "full_name": "Nadia Needle", "email": "nadia@example.com", "password": CHOSEN}
        return self.client.post(self.url, {**data, "roles": ["bench", "laundry"], **how})

    def test_it_works(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.add(), "/people/")
        nadia = User.objects.get(username="nadia")
        self.assertEqual(nadia.roles, {Role.BENCH, Role.LAUNDRY})
        self.assertTrue(nadia.check_password(CHOSEN))
        (entry,) = entries(nadia)
        self.assertEqual((entry.kind, entry.actor_name), ("person.created", "Mara Manager"))
        self.assertEqual(entry.facts["roles"], ["bench", "laundry"])
        self.assertNotIn(CHOSEN, str(entry.facts))

    def test_a_customers_person(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.add(roles=[], customer=self.quellbach.pk), "/people/")
        self.assertEqual(User.objects.get(username="nadia").roles, {Role.CUSTOMER})

    def test_it_refuses(self):
        self.sign_in(self.mara)
        before = User.objects.count()
        for how, sentence in [
            ({"username": "fran"}, "This user name is taken."),
            ({"username": "FRAN"}, "This user name is taken."),
            ({"username": "two words"}, "without spaces"),
            ({"roles": []}, "Give at least one role"),
            ({"customer": self.quellbach.pk}, "has no role in the lab"),
            ({"password": "short"}, "too short"),
            ({"password": "nadia@example"}, "too similar"),
            ({"email": "nope"}, "valid email"),
            ({"roles": ["boss"]}, "boss is not one of the available choices"),
        ]:
            with self.subTest(how=how):
                response = self.add(**how)
                self.assertContains(response, sentence)
                self.assertContains(response, 'value="Nadia Needle"')
        self.assertEqual(User.objects.count(), before)

    def test_a_double_tap_leaves_one_person(self):
        self.sign_in(self.mara)
        key = uuid.uuid4()
        for _ in range(2):
            self.assertRedirects(self.add(key=key), "/people/")
        self.assertEqual(User.objects.filter(username="nadia").count(), 1)
        self.assertContains(self.add(key=key, username="other"), "already sent with other content")

    def test_bad_input(self):
        self.sign_in(self.mara)
        before = User.objects.count()
        for text in BAD:
            for field in ("username", "full_name", "email", "roles", "customer", "password"):
                if field in ("email", "customer", "password") and not text.strip():
                    continue
                if (field, text) in self.fine():
                    continue
                with self.subTest(text=text[:12], field=field):
                    response = self.add(**{field: text})
                    self.assertEqual(response.status_code, 200)
                    self.assertContains(response, "Not saved yet")
        self.assertContains(self.client.post(self.url, {"key": "\0"}), "Not saved yet")
        self.assertEqual(User.objects.count(), before)

    def fine(self) -> set[tuple[str, str]]:
        """What is odd and yet a name."""
        odd = {(field, text) for field in ("username", "full_name") for text in BAD if 0 < len(text.strip()) <= 40}
        return (odd - {("username", '"><script>alert(1)'), ("username", "\0"), ("full_name", "\0")}) | {
            ("password", text) for text in BAD if 10 <= len(text) <= 200 and not text.isdigit()
        }

    def test_the_names_of_others_are_locked(self):
        with self.assertRaises(KeyReused):
            key = uuid.uuid4()
            for name in ("one", "two"):
                services.create_person(
                    username=name,
                    full_name=name,
                    email="",
                    roles=frozenset({Role.BENCH}),
                    customer=None,
                    password=CHOSEN,
                    by=self.mara,
                    at=NOON,
                    key=key,
                )

    def test_the_database_agrees(self):
        for wrong in ({"customer": self.quellbach, "bench": True}, {"full_name": ""}, {"username": ""}):
            fields = {"username": "x", "full_name": "X", **wrong}
            with self.subTest(wrong=wrong), self.assertRaises(IntegrityError), transaction.atomic():
                User.objects.create(**fields)


class PersonTests(LabTestCase):
    def change(self, person: User, **how):
        data = {"full_name": person.full_name, "email": person.email, "is_active": "on"}
        data["roles"] = sorted(person.roles - {Role.CUSTOMER})
        return self.client.post(f"/people/{person.pk}/", {**data, **how})

    def test_it_shows_what_is_set(self):
        self.sign_in(self.mara)
        response = self.client.get(f"/people/{self.fran.pk}/")
        self.assertContains(response, 'value="front_desk" id="id_roles_0" checked')
        self.assertContains(response, "not yet seen")

    def test_it_works(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.change(self.fran, full_name="Fran Front", roles=["front_desk", "bench"]), "/people/")
        self.fran.refresh_from_db()
        self.assertEqual(self.fran.roles, {Role.FRONT_DESK, Role.BENCH})
        (entry,) = entries(self.fran)
        self.assertEqual(entry.kind, "person.changed")
        self.assertEqual(entry.facts["full_name"], {"from": "Fran Frontdesk", "to": "Fran Front"})
        self.assertEqual(set(entry.facts), {"full_name", "roles"})

    def test_nothing_changed_leaves_no_entry(self):
        self.sign_in(self.mara)
        self.assertRedirects(self.change(self.fran), "/people/")
        self.assertEqual(entries(self.fran), [])

    def test_who_may_no_longer_sign_in_is_out_at_once(self):
        self.sign_in(self.mara)
        self.change(self.fran, is_active="")
        self.sign_in(self.fran)
        self.assertEqual(self.client.get("/password/").status_code, 302)

    def test_the_last_manager_stays(self):
        self.sign_in(self.mara)
        for how in ({"is_active": ""}, {"roles": ["bench"]}, {"roles": [], "customer": self.quellbach.pk}):
            with self.subTest(how=how):
                self.assertContains(self.change(self.mara, **how), "the last lab manager who may sign in")
        self.mara.refresh_from_db()
        self.assertTrue(self.mara.is_active and self.mara.manager)
        self.assertEqual(entries(self.mara), [])

    def test_one_of_two_managers_may_go(self):
        User.objects.filter(pk=self.bea.pk).update(manager=True)
        self.sign_in(self.mara)
        self.change(self.mara, roles=["front_desk"])
        self.mara.refresh_from_db()
        self.assertFalse(self.mara.manager)

    def test_a_manager_who_may_not_sign_in_does_not_count(self):
        User.objects.filter(pk=self.bea.pk).update(manager=True, is_active=False)
        self.sign_in(self.mara)
        self.assertContains(self.change(self.mara, roles=["front_desk"]), "the last lab manager")

    def test_it_refuses(self):
        self.sign_in(self.mara)
        for how, sentence in [
            ({"full_name": ""}, "This field is required."),
            ({"roles": []}, "Give at least one role"),
            ({"customer": self.quellbach.pk}, "has no role in the lab"),
            ({"customer": 10**30}, "not one of the available choices"),
        ]:
            with self.subTest(how=how):
                response = self.change(self.fran, **how)
                self.assertContains(response, sentence)
                self.assertContains(response, "<h1>Fran Frontdesk</h1>")

    def test_a_stranger_is_404(self):
        self.sign_in(self.mara)
        for number in (987654321, 10**30):
            for address in (f"/people/{number}/", f"/people/{number}/password/"):
                self.assertEqual(self.client.get(address).status_code, 404)

    def test_bad_input(self):
        self.sign_in(self.mara)
        for text in BAD:
            for field in ("full_name", "email", "roles", "customer", "is_active"):
                with self.subTest(text=text[:12], field=field):
                    self.assertLess(self.change(self.fran, **{field: text}).status_code, 400)

    def test_a_new_password(self):
        self.sign_in(self.mara)
        address = f"/people/{self.lou.pk}/password/"
        self.assertContains(self.client.post(address, {"password": "short", "again": "short"}), "too short")
        response = self.client.post(address, {"password": CHOSEN, "again": CHOSEN})
        self.assertRedirects(response, f"/people/{self.lou.pk}/")
        self.lou.refresh_from_db()
        self.assertTrue(self.lou.check_password(CHOSEN))
        (entry,) = entries(self.lou)
        self.assertEqual((entry.facts, entry.actor_id), ({"own": False}, self.mara.pk))

    def test_an_old_session_ends_with_the_old_password(self):
        self.sign_in(self.lou)
        services.set_password(person_id=self.lou.pk, password=CHOSEN, by=self.mara, at=NOON)
        self.assertEqual(self.client.get("/password/").status_code, 302)

    def test_the_service_says_why(self):
        with self.assertRaises(Refusal) as caught:
            services.set_password(person_id=self.lou.pk, password="lou", by=self.mara, at=NOON)
        self.assertEqual((caught.exception.code, caught.exception.field), ("weak_password", "password"))
