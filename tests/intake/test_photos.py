"""Photos of samples and specimens: kept once, seen by the lab, by the customer only in an issued report."""

import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from apps.core import clock
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.core.pictures import picture
from apps.intake import services
from apps.intake.models import ChosenPhoto, Photo, Request
from apps.reporting import services as reporting
from apps.reporting.facts import Facts
from apps.reporting.queries import photos_of
from apps.trail.models import Blob, TrailEntry
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for, assemble
from tests.intake.desk import NONSENSE
from tests.intake.issued import issued, opened
from tests.reporting.support import a_finished_job, approve


def a_photo(shade: int = 100, form: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade * 37 % 256, shade * 11 % 256, 60)).save(out, form)
    return out.getvalue()


def a_file(content: bytes | None = None, name: str = "cloth.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, a_photo() if content is None else content, "image/jpeg")


class PhotoCase(LabTestCase):
    def setUp(self):
        self.job = a_finished_job(self)
        self.sample = self.job.samples.get()
        self.request = self.sample.requests.get()
        self.piece = self.request.specimens.first()
        self.sign_in(self.bea)

    def url(self, name: str = "photos", *more) -> str:
        return reverse(f"intake:{name}", args=[self.sample.code, *more])

    def keep(self, shade: int = 100, **more) -> Photo:
        who = {"by": self.bea, "at": NOON}
        return services.keep_photo(sample_id=self.sample.pk, picture=picture(a_photo(shade)), **more, **who)

    def choose(self, *photos: Photo, request: Request | None = None):
        ids = [photo.pk for photo in photos]
        request = request or self.request
        return services.choose_photos(request_id=request.pk, photo_ids=ids, by=self.bea, at=NOON)


class KeepTests(PhotoCase):
    def test_a_photo_is_kept_by_its_hash_and_told_in_the_trail(self):
        photo = self.keep(caption="a stain")
        self.assertEqual(photo.blob_id, sha256(bytes(photo.blob.content)))
        self.assertEqual(
            (photo.kind, str(photo), photo.blob.content_type), ("received", "A, as received", "image/jpeg")
        )
        entry = TrailEntry.objects.get(kind="photo.kept")
        self.assertEqual((entry.facts["sha256"], entry.actor_name), (photo.blob_id, self.bea.full_name))

    def test_the_same_bytes_lie_there_once(self):
        before = Blob.objects.count()
        self.keep()
        other = a_received_job(self).samples.get()
        services.keep_photo(sample_id=other.pk, picture=picture(a_photo()), by=self.bea, at=NOON)
        self.assertEqual(Blob.objects.count(), before + 2)
        with self.assertRaises(Refusal) as refusal:
            self.keep()
        self.assertEqual(refusal.exception.code, "already_kept")

    def test_a_photo_of_a_specimen(self):
        photo = self.keep(specimen_id=self.piece.pk)
        self.assertEqual((photo.kind, str(photo)), ("laundered", "A1, after laundering"))
        stranger = a_received_job(self).samples.get()
        with self.assertRaises(Refusal):
            services.keep_photo(
                sample_id=stranger.pk, picture=picture(a_photo()), specimen_id=self.piece.pk, by=self.bea, at=NOON
            )

    def test_there_is_an_end(self):
        with pytest.MonkeyPatch.context() as patch, self.assertRaises(Refusal) as refusal:
            patch.setattr("apps.intake.services.photos.MOST_A_SAMPLE", 1)
            self.keep(1)
            self.keep(2)
        self.assertEqual(refusal.exception.code, "too_many")

    def test_chosen_again_and_no_more(self):
        one, two = self.keep(1), self.keep(2, specimen_id=self.piece.pk)
        self.choose(one, two)
        self.choose(two)
        self.assertEqual(list(ChosenPhoto.objects.order_by("photo").values_list("chosen", flat=True)), [False, True])

    def test_only_photos_of_the_test_itself(self):
        services.add_request(sample_id=self.sample.pk, request=a_request_for(), by=self.fran, at=NOON)
        second = self.sample.requests.get(ordinal=2)
        washed, received = self.keep(1, specimen_id=self.piece.pk), self.keep(2)
        self.choose(received, request=second)
        with self.assertRaises(Refusal):
            self.choose(washed, request=second)
        with pytest.MonkeyPatch.context() as patch, self.assertRaises(Refusal):
            patch.setattr("apps.intake.services.photos.MOST_A_REPORT", 1)
            self.choose(washed, received)


class GuardTests(PhotoCase):
    def refused(self, deed) -> None:
        with self.subTest(), self.assertRaises(IntegrityError), transaction.atomic():
            deed()

    def test_a_photo_stays_as_it_is(self):
        photo = self.keep()
        row = {"width": 1, "height": 1, "by": self.bea, "at": NOON, "preview": photo.preview}
        stranger = a_received_job(self).samples.get()
        other = Photo.objects.create(sample=stranger, kind="received", blob=photo.preview, **row)
        self.refused(lambda: Photo.objects.filter(pk=photo.pk).update(caption="x"))
        self.refused(lambda: Photo.objects.filter(pk=photo.pk)._raw_delete("default"))
        self.refused(
            lambda: Photo.objects.create(sample=stranger, specimen=self.piece, kind="laundered", blob=photo.blob, **row)
        )
        self.refused(lambda: Photo.objects.create(sample=stranger, kind="laundered", blob=photo.blob, **row))
        self.refused(lambda: Photo.objects.create(sample=stranger, kind="x", blob=photo.blob, **row))
        self.refused(lambda: ChosenPhoto.objects.create(request=self.request, photo=other, by=self.bea, at=NOON))

    def test_the_choice_is_frozen_with_the_report(self):
        one, two = self.keep(1), self.keep(2)
        self.choose(one)
        row = ChosenPhoto.objects.get()
        report = issued(self, self.request)
        frozen = (
            lambda: ChosenPhoto.objects.create(request=self.request, photo=two, by=self.bea, at=NOON),
            lambda: ChosenPhoto.objects.filter(pk=row.pk).update(chosen=False),
        )
        for deed in frozen:
            self.refused(deed)
        self.refused(lambda: ChosenPhoto.objects.filter(pk=row.pk)._raw_delete("default"))
        with self.assertRaises(Refusal):
            self.choose(two)
        opened(self, report, "limits")
        for deed in frozen:
            self.refused(deed)

    def test_an_amendment_for_the_wording_opens_the_choice(self):
        one = self.keep()
        self.choose(one)
        opened(self, issued(self, self.request), "wording")
        self.choose()
        self.assertFalse(ChosenPhoto.objects.get().chosen)
        self.refused(lambda: ChosenPhoto.objects.update(photo=one.pk + 1))


class PageTests(PhotoCase):
    def send(self, **fields):
        return self.client.post(self.url(), {"photo-of": "", "photo-caption": "", **fields})

    def test_a_photo_is_uploaded_and_shown(self):
        answer = self.send(**{"photo-file": a_file(), "photo-caption": "as it came", "key": str(uuid.uuid4())})
        self.assertRedirects(answer, self.url())
        photo = Photo.objects.get()
        for address in (self.url(), self.url("sample")):
            page = self.client.get(address)
            self.assertContains(page, photo.preview_id)
            self.assertContains(page, "as it came")
        self.send(**{"photo-file": a_file(a_photo(5, "PNG")), "photo-of": str(self.piece.pk)})
        self.assertEqual(Photo.objects.get(kind="laundered").specimen, self.piece)

    def test_a_form_sent_twice_is_one_photo(self):
        key = str(uuid.uuid4())
        for _ in range(2):
            self.assertEqual(self.send(**{"photo-file": a_file(), "key": key}).status_code, 302)
        self.assertEqual(Photo.objects.count(), 1)

    def test_bad_files_are_a_sentence_beside_the_field_and_the_words_stay(self):
        bad = {"page.jpg": b"<html>", "cut.jpg": a_photo()[:400], "two.jpg": a_photo() + b"<script>", "none.jpg": b""}
        for name, content in bad.items():
            with self.subTest(name):
                page = self.send(**{"photo-file": a_file(content, name), "photo-caption": "typed by me"})
                self.assertContains(page, "typed by me", status_code=422)
                self.assertTrue(page.context["form"].has_error("file"))
        for fields in ({}, {"photo-file": "text"}):
            self.assertEqual(self.send(**fields).status_code, 422)
        self.assertFalse(Photo.objects.exists())

    def test_nonsense(self):
        for what, text in NONSENSE.items():
            with self.subTest(what):
                if text.strip():
                    answer = self.send(**{"photo-file": a_file(), "photo-of": text})
                    self.assertEqual(answer.status_code, 422)
                    answer = self.client.post(self.url("choose_photos", 1), {"photo": text})
                    self.assertEqual(answer.status_code, 422)
        self.assertEqual(self.send(**{"photo-file": a_file(), "photo-caption": "x" * 10_000}).status_code, 422)
        self.assertEqual(self.client.get(self.url("choose_photos", 1)).status_code, 405)

    def test_chosen_on_the_page(self):
        one, two = self.keep(1), self.keep(2)
        self.assertRedirects(self.client.post(self.url("choose_photos", 1), {"photo": [two.pk]}), self.url())
        self.assertEqual(ChosenPhoto.objects.get().photo, two)
        self.assertContains(self.client.get(self.url()), " checked", count=1)
        self.client.post(self.url("choose_photos", 1), {})
        self.assertFalse(ChosenPhoto.objects.get().chosen)
        self.assertTrue(one)

    def test_how_a_photo_is_served(self):
        photo = self.keep()
        for blob in (photo.blob, photo.preview):
            answer = self.client.get(self.url("photo", blob.sha256))
            self.assertEqual(answer.content, bytes(blob.content))
            self.assertEqual(answer["Content-Type"], "image/jpeg")
            self.assertEqual(answer["X-Content-Type-Options"], "nosniff")
            self.assertEqual(set(answer["Cache-Control"].split(", ")), {"private", "no-cache"})
            again = self.client.get(self.url("photo", blob.sha256), headers={"if-none-match": answer["ETag"]})
            self.assertEqual((again.status_code, again.content), (304, b""))
        other = Blob.objects.exclude(sha256__in=[photo.blob_id, photo.preview_id]).first()
        for digest in ("0" * 64, other.sha256 if other else "1", "x"):
            self.assertEqual(self.client.get(self.url("photo", digest)).status_code, 404)
        elsewhere = reverse("intake:photo", args=[a_received_job(self).samples.get().code, photo.blob_id])
        self.assertEqual(self.client.get(elsewhere).status_code, 404)

    def test_who_may(self):
        photo = self.keep()
        for name, may in {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403}.items():
            self.sign_in(getattr(self, name))
            for address in (self.url(), self.url("photo", photo.blob_id)):
                self.assertEqual(self.client.get(address).status_code, may, name)
        self.sign_in(self.lou)
        self.assertEqual(self.client.post(self.url("choose_photos", 1)).status_code, 403)
        self.sign_in(None)
        self.assertEqual(self.client.get(self.url("photo", photo.blob_id)).status_code, 302)

    def test_does_not_grow_and_reads_no_bytes(self):
        self.keep(1), self.keep(2)
        for more in (0, 20):
            for n in range(more):
                self.keep(3 + n, specimen_id=self.piece.pk)
            with self.subTest(more), self.assertNumQueries(8) as asked:
                self.client.get(self.url())
            self.assertFalse([query for query in asked if '"content"' in query["sql"]])


class ReportTests(PhotoCase):
    def setUp(self):
        super().setUp()
        self.chosen = self.keep(1, caption="a stain near the selvedge")
        self.other = self.keep(2, specimen_id=self.piece.pk)
        self.choose(self.chosen)

    def issue(self):
        report = approve(self, self.request)
        reporting.build_pending(limit=5, now=NOON)
        return report

    def photo(self, report, photo: Photo):
        return self.client.get(reverse("reporting:photo", args=[report.number, photo.blob_id]))

    def test_the_manager_sees_the_choice_before_approving(self):
        self.sign_in(self.mara)
        page = self.client.get(reverse("reporting:review", args=[self.job.number]))
        self.assertContains(page, self.chosen.blob_id)
        self.assertNotContains(page, self.other.blob_id)
        self.assertContains(page, self.url())

    def test_the_report_names_and_shows_what_was_chosen(self):
        report = self.issue()
        facts = Facts.read(report.facts)
        (told,) = facts.requests[0].photos
        self.assertEqual((told["sha256"], told["caption"]), (self.chosen.blob_id, "a stain near the selvedge"))
        reader = PdfReader(io.BytesIO(bytes(report.files.get().blob.content)))
        text = " ".join(page.extract_text() for page in reader.pages)
        self.assertIn("a stain near the selvedge", text)
        pictures = [image for page in reader.pages for image in page.images]
        self.assertEqual([image.image.size for image in pictures], [(640, 480)])

    def test_who_sees_a_photo_of_a_report(self):
        self.sign_in(self.casey)
        report = approve(self, self.request)
        self.assertEqual(self.photo(report, self.chosen).status_code, 404, "the report is not there yet")
        reporting.build_pending(limit=5, now=NOON)
        answer = self.photo(report, self.chosen)
        self.assertEqual((answer.status_code, answer["Content-Type"]), (200, "image/jpeg"))
        self.assertEqual(answer.content, bytes(self.chosen.blob.content))
        self.assertContains(self.client.get(reverse("reporting:report", args=[report.number])), self.chosen.blob_id)
        self.assertEqual(self.photo(report, self.other).status_code, 404, "it was not chosen")
        self.assertEqual(self.client.get(self.url("photo", self.chosen.blob_id)).status_code, 403)
        self.sign_in(self.dana)
        self.assertEqual(self.photo(report, self.chosen).status_code, 404)
        self.sign_in(self.lou)
        self.assertEqual(self.photo(report, self.chosen).status_code, 200)

    def test_a_choice_made_after_the_review_is_noticed(self):
        self.sign_in(self.mara)
        before = self.client.get(reverse("reporting:review", args=[self.job.number])).context["review"].reviewed[0].mark
        self.choose(self.chosen, self.other)
        after = self.client.get(reverse("reporting:review", args=[self.job.number])).context["review"].reviewed[0].mark
        self.assertNotEqual(before, after)

    def test_a_report_is_never_made_with_a_photo_missing(self):
        report = approve(self, self.request)
        told = report.facts.replace(self.chosen.blob_id, "f" * 64)
        with self.assertRaises(LookupError):
            photos_of(Facts.read(told))


@pytest.mark.parametrize(
    "viewport", [PHONE, TABLET, DESK, {"width": 720, "height": 450}], ids=lambda v: str(v["width"])
)
def test_the_page_at_every_width(transactional_db, live_server, browser, viewport):
    from axe_playwright_python.sync_playwright import Axe

    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
        for shade in (1, 2, 3):
            services.keep_photo(
                sample_id=sample.pk, picture=picture(a_photo(shade)), caption="a stain", by=cast.bea, at=NOON
            )
    context = browser.new_context(viewport=viewport, device_scale_factor=2)
    sign_in(context, live_server, cast.bea)
    page = context.new_page()
    for address in ("photos/", ""):
        page.goto(f"{live_server.url}/samples/{sample.code}/{address}")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    context.close()


def test_a_photo_by_keyboard_alone(transactional_db, live_server, page: Page, tmp_path):
    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
    (tmp_path / "cloth.jpg").write_bytes(a_photo())
    sign_in(page.context, live_server, cast.bea)
    page.on("filechooser", lambda chooser: None)  # asked for before the page is there: one opened unasked is never told
    page.goto(f"{live_server.url}/samples/{sample.code}/photos/")
    page.locator("input[type=file]").focus()
    expect(page.locator("input[type=file]")).to_be_focused()
    with page.expect_file_chooser() as chooser:
        page.keyboard.press("Space")
    chooser.value.set_files(tmp_path / "cloth.jpg")
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.type("as it came")
    page.keyboard.press("Enter")
    expect(page.get_by_text("The photo is kept.")).to_be_visible()
    assert Photo.objects.get().caption == "as it came"
