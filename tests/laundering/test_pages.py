"""The laundry's pages, step by step, without script."""

import re
import uuid
from datetime import date

from django.urls import reverse

from apps.intake.models import Job
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from tests.cast import NOON, LabTestCase
from tests.laundering.support import WASH, dried, dry, make_up, pieces_of, ready, start, washed


class ChainTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.lou)

    def test_one_load_from_the_queue_to_the_bench(self):
        request = ready(self)
        ids = [piece.pk for piece in pieces_of(request)]
        page = self.client.get("/laundry/")
        self.assertContains(page, "cycle 1 of 3", count=3)
        answer = self.client.post("/laundry/loads/", {"specimen": ids, "key": uuid.uuid4()})
        load = Load.objects.get()
        self.assertRedirects(answer, f"/laundry/loads/{load.pk}/")
        form = {**WASH, "washer": self.washers[0].pk, "key": uuid.uuid4()}
        self.assertRedirects(self.client.post(f"/laundry/loads/{load.pk}/start/", form), f"/laundry/loads/{load.pk}/")
        self.assertContains(self.client.get("/laundry/"), "washing")
        self.client.post(f"/laundry/loads/{load.pk}/end/", {"spun": "on"})
        pieces = list(load.pieces.values_list("pk", flat=True))
        drying = request.drying_id
        page = self.client.get(f"/laundry/loads/{load.pk}/")
        self.assertContains(page, "checked", count=3)
        self.client.post(
            f"/laundry/loads/{load.pk}/dry/{drying}/", {"piece": pieces, f"dry-{drying}-dryer": self.dryers[0].pk}
        )
        run = Drying.objects.get()
        self.client.post(f"/laundry/dryings/{run.pk}/end/", {f"dried-{run.pk}-lint_filter_cleaned": "on"})
        page = self.client.get(f"/laundry/loads/{load.pk}/")
        self.assertContains(page, "Tick off all 3")
        shown = re.findall(r'name="piece" value="(\d+:\d+)"', page.content.decode())
        answer = self.client.post(f"/laundry/loads/{load.pk}/tick/", {"piece": shown}, follow=True)
        self.assertContains(answer, "readings are due")
        self.assertEqual(CycleLog.objects.count(), 3)
        self.assertNotContains(self.client.get("/laundry/"), f"Load {load.pk}<")
        self.assertContains(self.client.get(f"/laundry/logbook/?day={NOON:%Y-%m-%d}"), f"Load {load.pk}")
