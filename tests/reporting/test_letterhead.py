"""Logo and accreditation in the letterhead."""

from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from apps.accounts.models import Lab
from apps.accounts.services import set_logo
from apps.core.errors import Refusal
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.pdf import build, check_archivable
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase
from tests.reporting import paper
from tests.reporting.support import an_issued_report
from tests.reporting.test_pdf import pages_of


def a_picture(kind: str = "PNG", size: tuple[int, int] = (300, 90), mode: str = "RGB", **more) -> bytes:
    out = BytesIO()
    Image.new(mode, size, "navy").save(out, kind, **more)
    return out.getvalue()


class LogoTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.mara)
        self.url = reverse("reporting:logo")

    def post(self, content: bytes, **more):
        return self.client.post(self.url, {"file": SimpleUploadedFile("logo.png", content), **more})

    def test_is_drawn_anew_and_printed_on_the_first_page(self):
        before = a_picture("JPEG", (3000, 900), exif=b"Exif\x00\x00secret place")
        assert self.post(before).status_code == 302
        kept = bytes(Lab.objects.get().logo.content)
        assert b"secret" not in kept and Image.open(BytesIO(kept)).size == (900, 270)
        assert self.client.get(reverse("reporting:logo_picture")).content == kept
        report = an_issued_report(self)
        content = bytes(report.files.get().blob.content)
        check_archivable(content)
        assert [len(page.images) for page in PdfReader(BytesIO(content)).pages][:2] == [1, 0]
        self.client.post(self.url, {"none": "on"})
        assert Lab.objects.get().logo is None and Facts.read(report.facts).lab["logo"]
        assert bytes(services.files.make_file(Facts.read(report.facts))) == content
        assert TrailEntry.objects.filter(stream="lab", kind="lab.changed").count() == 2

    def test_with_transparency_and_colours_of_all_kinds(self):
        for kind, mode in (("PNG", "RGBA"), ("GIF", "P"), ("PNG", "L"), ("WEBP", "RGB"), ("JPEG", "CMYK")):
            picture = BytesIO()
            Image.new(mode, (40, 40)).save(picture, kind)
            set_logo(content=picture.getvalue(), by=self.mara, at=NOON)
            check_archivable(bytes(an_issued_report(self).files.get().blob.content))

    def test_bad_pictures(self):
        svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
        for content in (b"x", b"%PDF-1.7", svg, a_picture()[:60], b"\x89PNG\r\n\x1a\n" + b"\x00" * 99):
            answer = self.post(content)
            assert answer.status_code == 422 and "no picture that can be read" in answer.content.decode()
        assert self.post(b"").status_code == 422
        assert self.client.post(self.url, {}).status_code == 422
        assert self.post(a_picture(), none="on").status_code == 422
        with pytest.raises(Refusal, match="5 MB"):
            set_logo(content=b"x" * (5 * 1024 * 1024 + 1), by=self.mara, at=NOON)
        bomb = a_picture("PNG", (9000, 9000), "1")
        with pytest.raises(Refusal, match=r"pixels|no picture"):
            set_logo(content=bomb, by=self.mara, at=NOON)
        assert Lab.objects.get().logo is None

    def test_who_may(self):
        for user, code in ((self.bea, 403), (self.casey, 403), (None, 302)):
            self.sign_in(user)
            assert self.post(a_picture()).status_code == code
        self.sign_in(self.casey)
        assert self.client.get(reverse("reporting:logo_picture")).status_code == 403


@pytest.mark.once
def test_accreditation_is_claimed_only_within_its_scope():
    facts = paper.facts(samples=2)
    facts["lab"]["accreditation"] = "Accredited to ISO/IEC 17025, invented body, no. 7"
    assert "invented body" not in " ".join(pages_of(build(Facts(facts))))
    facts["requests"][0]["method"]["in_scope"] = True
    first, *later = pages_of(build(Facts(facts)))
    assert "invented body" in first and "invented body" not in " ".join(later)


@pytest.mark.once
def test_facts_without_the_new_parts_are_still_read():
    facts = paper.facts()
    for name in ("logo", "accreditation"):
        del facts["lab"][name]
    for name in ("interim", "follows", "seal", "verify_at"):
        del facts["report"][name]
    del facts["report"]["approved_by"]["signs_as"]
    first = pages_of(build(Facts(facts)))[0]
    assert "Authorised by Mara Manager, lab manager" in first and "Is it unchanged?" not in first
