"""One piece more goes into a load that is made up and not begun, by its label."""

import uuid
from datetime import timedelta

from apps.calc.numbering import check_char
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.models import Load, LoadPiece
from apps.laundering.queries import piece_called
from tests.cast import NOON, LabTestCase
from tests.laundering.support import (
    WASH,
    deviations,
    issue,
    make_up,
    pieces_of,
    ready,
    requests,
    start,
    told,
    whole_cycle,
)


class AddTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.first, self.second, self.third = pieces_of(self.request)
        self.load = make_up(self, specimen_ids=[self.first.pk])

    def add(self, specimen: Specimen, **how) -> LoadPiece:
        return services.add_piece(
            **{"load_id": self.load.pk, "specimen_id": specimen.pk, "by": self.lou, "at": NOON, **how}
        )

    def refused(self, code: str, specimen: Specimen, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            self.add(specimen, **how)
        self.assertEqual(caught.exception.code, code)
        return caught.exception

    def test_it_goes_in_under_the_rules_of_the_make_up(self):
        self.add(self.second)
        self.second.refresh_from_db()
        self.assertEqual(self.second.stage, Specimen.Stage.IN_LOAD)
        self.assertEqual([facts["load"] for facts in told(self.request, "load.piece_in")], [self.load.pk])
        unmeasured = requests(self)[0]
        self.refused("in_this_load", self.second)
        self.assertFalse(pieces_of(unmeasured))
        self.refused("construction", pieces_of(ready(self, construction="knit"))[0])

    def test_never_an_unmeasured_piece_whatever_is_written(self):
        owed = ready(self)
        whole_cycle(self, owed)
        self.refused("stage_owed", pieces_of(owed)[0], deviation="no time", at_risk=True, by=self.mara)

    def test_what_clashes_takes_a_reason_and_every_job_hears_of_it(self):
        knit = ready(self, construction="knit")
        piece = pieces_of(knit)[0]
        self.refused("not_at_risk", piece, deviation="one drum")
        self.add(piece, deviation="one drum", at_risk=True)
        for request in (self.request, knit):
            self.assertIn("one drum", deviations(request)[0])
        self.add(pieces_of(knit)[1])  # the clash has its reason

    def test_a_piece_taken_out_dry_may_come_back(self):
        self.add(self.second)
        out = {"load_id": self.load.pk, "specimen_id": self.second.pk, "by": self.lou, "at": NOON}
        services.take_out(**out, reason="wrong load")
        self.add(self.second)
        services.take_out(**out, reason="wrong load again")
        self.add(self.second)
        self.assertEqual(self.load.pieces.filter(open=True).count(), 2)

    def test_not_into_a_load_that_is_washing_nor_of_an_issued_request(self):
        other = ready(self)
        issue(other, by=self.mara)
        with self.assertRaises(Refusal):
            self.add(pieces_of(other)[0])
        start(self, self.load)
        self.refused("load_washing", self.second)

    def test_hours_later_it_is_disclosed_with_its_reason(self):
        with clock.set_to(NOON + timedelta(hours=9)):
            self.add(self.second, late_reason="from paper")
        self.assertIn("from paper", deviations(self.request)[0])

    def test_a_load_that_was_weighed_with_fewer_pieces_does_not_begin(self):
        shown = [piece.pk for piece in self.load.pieces.all()]
        self.add(self.second)
        with self.assertRaises(StalePage):
            start(self, self.load, shown=shown)
        start(self, self.load, shown=self.load.pieces.values_list("pk", flat=True))

    def test_a_form_sent_twice_is_one_piece(self):
        key = uuid.uuid4()
        self.assertEqual(self.add(self.second, key=key), self.add(self.second, key=key))


class CalledTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.pieces = pieces_of(self.request)
        self.load = make_up(self, specimen_ids=[self.pieces[0].pk])

    def called(self, text: str) -> Specimen:
        return piece_called(self.lou, self.load, text)

    def test_a_label_a_typed_code_and_the_short_code_on_the_cloth(self):
        code = self.pieces[1].code
        bare = code.replace("-", "")
        for text in (code, code.lower(), bare, f" {code} ", code + check_char(bare), "A2", "a2"):
            with self.subTest(text):
                self.assertEqual(self.called(text), self.pieces[1])

    def test_the_jobs_in_the_load_come_first_and_else_two_of_a_name_are_refused(self):
        ready(self), ready(self)
        self.assertEqual(self.called("A2"), self.pieces[1])
        make_up(self, specimen_ids=[piece.pk for piece in self.pieces[1:]])
        with self.assertRaisesMessage(Refusal, "More than one piece is called A2"):
            self.called("A2")

    def test_nonsense_names_nothing(self):
        for text in ("", "-", "Z9", "x" * 10_000, "\x00", "👕", "%", "A_", "26-00001"):
            with self.subTest(text[:9]), self.assertRaises(Refusal):
                self.called(text)


class AddPageTests(LabTestCase):
    def setUp(self):
        self.request = ready(self)
        self.pieces = pieces_of(self.request)
        self.load = make_up(self, specimen_ids=[self.pieces[0].pk])
        self.sign_in(self.lou)

    def post(self, code: str, **more):
        data = {"add-code": code, "key": uuid.uuid4(), **more}
        return self.client.post(f"/laundry/loads/{self.load.pk}/add/", data)

    def test_scanned_one_after_the_other(self):
        answer = self.post("A2")
        self.assertEqual((answer.status_code, answer.url), (302, f"/laundry/loads/{self.load.pk}/?add=1#add"))
        self.assertContains(self.client.get(answer.url), "autofocus")
        self.post(self.pieces[2].code)
        self.assertEqual(Load.objects.get().pieces.count(), 3)
        self.assertContains(self.post("A2"), "No piece that may be washed is called A2", status_code=422)
        self.assertContains(self.post(self.pieces[1].code), "is in this load already", status_code=422)

    def test_a_clash_asks_for_its_reason_and_keeps_the_code(self):
        knit = pieces_of(ready(self, construction="knit"))[0].code
        page = self.post(knit)
        self.assertContains(page, "Woven and knit are washed apart", status_code=422)
        self.assertContains(page, f'value="{knit}"', status_code=422)
        self.assertEqual(self.post(knit, **{"add-deviation": "one drum", "add-at_risk": "on"}).status_code, 302)

    def test_bad_input_is_told(self):
        for code in ("", "x" * 10_000, "a\x00b", "👕", "1e999", "NaN"):
            with self.subTest(code[:9]):
                self.assertContains(self.post(code), "The piece is not in the load", status_code=422)
        self.assertContains(self.post("A2", **{"add-when": "yesterday"}), "A date and a time", status_code=422)

    def test_the_page_sends_what_it_showed(self):
        shown = " ".join(str(pk) for pk in self.load.pieces.values_list("pk", flat=True))
        page = self.client.get(f"/laundry/loads/{self.load.pk}/")
        self.assertContains(page, f'name="shown" value="{shown}"')
        self.post("A2")
        data = {**WASH, "washer": self.washers[0].pk, "shown": shown}
        answer = self.client.post(f"/laundry/loads/{self.load.pk}/start/", data)
        self.assertContains(answer, "weigh it again", status_code=422)
