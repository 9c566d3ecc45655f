import re
import uuid
from datetime import date, timedelta

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.db import IntegrityError, transaction
from django.utils.http import urlsafe_base64_encode

from apps.accounts import queries, services
from apps.accounts.models import Token, User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.trail.models import TrailEntry
from tests.accounts.bad import BAD
from tests.cast import NOON, PASSWORD, LabTestCase
from tests.racing import at_once

TODAY = NOON.date()
IN_A_MONTH = TODAY + timedelta(days=30)


def a_token(person: User, name: str = "caliper of Wednesday", *, ends_on: date = IN_A_MONTH) -> tuple[Token, str]:
    return services.make_token(name=name, ends_on=ends_on, by=person, at=NOON)


def kinds(user: User) -> list[str]:
    return list(TrailEntry.objects.filter(stream=f"user:{user.pk}").values_list("kind", flat=True))


class TokensPageTests(LabTestCase):
    url = "/tokens/"

    def make(self, **how):
        return self.client.post(self.url, {"name": "caliper of Wednesday", "ends_on": IN_A_MONTH.isoformat(), **how})

    def test_its_text_is_shown_once_and_kept_as_its_hash(self):
        self.sign_in(self.bea)
        response = self.make()
        (text,) = re.findall(r"<code>(.+?)</code>", response.content.decode())
        token = Token.objects.get()
        self.assertEqual((token.person, token.sha256, token.ends_on), (self.bea, sha256(text), IN_A_MONTH))
        self.assertEqual(response["Cache-Control"], "no-store")
        self.assertNotContains(self.client.get(self.url), text)
        (entry,) = TrailEntry.objects.filter(stream=f"user:{self.bea.pk}")
        self.assertEqual((entry.kind, entry.facts["name"]), ("token.made", "caliper of Wednesday"))
        self.assertNotIn(text, str(entry.facts))

    def test_the_form_sent_again_makes_no_second_one(self):
        self.sign_in(self.bea)
        key = str(uuid.uuid4())
        self.make(key=key)
        again = self.make(key=key)
        self.assertContains(again, "shown once only", status_code=422)
        self.assertEqual(Token.objects.count(), 1)

    def test_who_may(self):
        for person in (self.fran, self.bea, self.lou, self.mara, self.casey):
            self.sign_in(person)
            with self.subTest(person=person):
                self.assertEqual(self.make().status_code, 200)
                self.assertEqual(Token.objects.get(person=person).person_id, person.pk)
        self.sign_in(None)
        self.assertEqual(self.make().status_code, 302)

    def test_it_refuses(self):
        self.sign_in(self.bea)
        a_token(self.bea, "old")
        for how, sentence in [
            ({"name": " "}, "This field is required."),
            ({"name": "old"}, "There is a token of this name."),
            ({"ends_on": TODAY.isoformat()}, "a day at least and a year at most"),
            ({"ends_on": "9999-12-31"}, "a day at least and a year at most"),
            ({"ends_on": "someday"}, "Enter a valid date."),
        ]:
            with self.subTest(how=how):
                response = self.make(**how)
                self.assertContains(response, sentence, status_code=422)
        self.assertEqual(Token.objects.count(), 1)

    def test_bad_input_keeps_what_was_typed_and_never_breaks(self):
        self.sign_in(self.bea)
        for field in ("name", "ends_on", "key"):
            for bad in BAD:
                with self.subTest(field=field, bad=bad[:10]):
                    self.assertIn(self.make(**{field: bad}).status_code, (200, 422))

    def test_it_does_not_grow(self):
        self.sign_in(self.bea)
        for number in range(2):
            a_token(self.bea, f"tape {number}")
        with self.assertNumQueries(5):  # session, person, lab, count, tokens
            self.client.get(self.url)
        for number in range(2, 22):
            token, _ = a_token(self.bea, f"tape {number}")
            services.end_token(token_id=token.pk, by=self.bea, at=NOON)
        with self.assertNumQueries(5):
            self.client.get(self.url)

    def test_as_many_as_one_person_has(self):
        for number in range(20):
            a_token(self.bea, f"tape {number}")
        with self.assertRaises(Refusal) as refusal:
            a_token(self.bea, "one more")
        self.assertEqual(refusal.exception.code, "too_many_tokens")


class EndTokenTests(LabTestCase):
    def end(self, token: Token):
        return self.client.post(f"/tokens/{token.pk}/end/", follow=True)

    def test_its_person_ends_it(self):
        token, text = a_token(self.casey)
        self.sign_in(self.casey)
        self.assertContains(self.end(token), "no longer holds")
        self.assertIsNone(queries.token_in_force(text, today=TODAY))
        self.assertEqual(kinds(self.casey)[-2:], ["token.made", "token.ended"])
        self.assertContains(self.client.get("/tokens/"), "ended")

    def test_a_manager_ends_anybodys(self):
        token, text = a_token(self.casey)
        self.assertEqual(queries.token_in_force(text, today=TODAY), token)
        self.sign_in(self.mara)
        self.assertContains(self.client.get(f"/people/{self.casey.pk}/"), "caliper of Wednesday")
        self.assertRedirects(self.client.post(f"/tokens/{token.pk}/end/"), f"/people/{self.casey.pk}/")
        token.refresh_from_db()
        self.assertEqual(token.ended_by, self.mara)
        self.assertIsNone(queries.token_in_force(text, today=TODAY))

    def test_nobody_else_sees_it(self):
        token, _ = a_token(self.casey)
        for person in (self.dana, self.bea, self.fran):
            self.sign_in(person)
            with self.subTest(person=person):
                self.assertEqual(self.end(token).status_code, 404)
                self.assertNotContains(self.client.get("/tokens/"), "caliper of Wednesday")

    def test_ending_it_twice_is_told_once(self):
        token, _ = a_token(self.casey)
        for _ in range(2):
            services.end_token(token_id=token.pk, by=self.casey, at=NOON)
        self.assertEqual(kinds(self.casey).count("token.ended"), 1)


class TokenInForceTests(LabTestCase):
    def test_until_its_last_day(self):
        token, text = a_token(self.bea)
        self.assertEqual(queries.token_in_force(text, today=IN_A_MONTH), token)
        self.assertIsNone(queries.token_in_force(text, today=IN_A_MONTH + timedelta(days=1)))

    def test_not_of_who_may_no_longer_sign_in(self):
        _, text = a_token(self.bea)
        User.objects.filter(pk=self.bea.pk).update(is_active=False)
        self.assertIsNone(queries.token_in_force(text, today=TODAY))

    def test_nothing_else_is_a_token(self):
        token, text = a_token(self.bea)
        for bad in (*BAD, token.sha256, text[:-1], text + "x", text.upper(), f" {text}", f"{text}\n"):
            with self.subTest(bad=bad[:10]):
                self.assertIsNone(queries.token_in_force(bad, today=TODAY))

    def test_the_day_of_its_last_use_is_written_once_a_day(self):
        token, text = a_token(self.bea)
        for day in (NOON, NOON, NOON + timedelta(days=2)):
            services.note_use(token=queries.token_in_force(text, today=TODAY), at=day)
        token.refresh_from_db()
        self.assertEqual(token.last_used_on, TODAY + timedelta(days=2))
        with self.assertNumQueries(0):
            services.note_use(token=token, at=NOON)

    def test_the_database_agrees(self):
        token, _ = a_token(self.bea)
        rows = Token.objects.filter(pk=token.pk)
        services.end_token(token_id=token.pk, by=self.bea, at=NOON)
        for wrong in (
            {"person": self.mara},
            {"sha256": "0" * 64},
            {"ends_on": date(2099, 1, 1)},
            {"ended_at": None, "ended_by": None},
        ):
            with self.subTest(wrong=wrong), self.assertRaises(IntegrityError), transaction.atomic():
                rows.update(**wrong)
        with self.assertRaises(IntegrityError), transaction.atomic():
            rows.delete()
        for wrong in ({"name": ""}, {"ended_at": NOON}):
            row = {"person": self.bea, "name": "x", "sha256": "1" * 64, "made_at": NOON, "ends_on": TODAY, **wrong}
            with self.subTest(wrong=wrong), self.assertRaises(IntegrityError), transaction.atomic():
                Token.objects.create(**row)


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_a_token_asked_for_eight_times_at_once_is_one(people):
    key = uuid.uuid4()

    def make():
        with clock.set_to(NOON):
            return services.make_token(name="tape", ends_on=IN_A_MONTH, by=people.bea, at=NOON, key=key)

    outcomes = at_once(*[make] * 8)
    assert sorted(getattr(one, "code", "made") for one in outcomes) == ["made"] + ["shown_once"] * 7
    assert Token.objects.count() == 1


class NewPasswordTests(LabTestCase):
    """A changed password leaves programs alone, unless one says that somebody else may know the old one."""

    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.tape, _ = a_token(cls.bea, "tape at bench 2")
        cls.others, _ = a_token(cls.mara, "of somebody else")
        cls.typed = {"password": "a shorter cloth 26", "again": "a shorter cloth 26"}

    def pages(self):
        link = default_token_generator.make_token(self.bea)
        name = urlsafe_base64_encode(b"%d" % self.bea.pk)
        return (
            (None, f"/password/new/{name}/{link}/", {}),
            (self.bea, "/password/", {"old": PASSWORD}),
            (self.mara, f"/people/{self.bea.pk}/password/", {}),
        )

    def test_each_page_names_them_and_leaves_them(self):
        for who, path, more in self.pages():
            self.sign_in(who)
            with self.subTest(path), transaction.atomic():
                self.assertContains(self.client.get(path), "tape at bench 2")
                self.assertEqual(self.client.post(path, self.typed | more).status_code, 302)
                self.assertIsNone(Token.objects.get(pk=self.tape.pk).ended_at)
                transaction.set_rollback(True)

    def test_each_page_ends_them_when_asked(self):
        for who, path, more in self.pages():
            self.sign_in(who)
            with self.subTest(path), transaction.atomic():
                answer = self.client.post(path, self.typed | more | {"end_tokens": "on"})
                self.assertEqual(answer.status_code, 302)
                ended = Token.objects.get(pk=self.tape.pk)
                self.assertEqual(ended.ended_by, who or self.bea)
                self.assertIn("token.ended", kinds(self.bea))
                self.assertIsNone(Token.objects.get(pk=self.others.pk).ended_at)
                transaction.set_rollback(True)

    def test_who_has_none_is_asked_nothing(self):
        self.sign_in(self.lou)
        self.assertNotContains(self.client.get("/password/"), "end_tokens")
