"""Loads that the queue page proposes: the fewest, what is due first in the first, with the ballast to add."""

import uuid
from datetime import timedelta

from apps.accounts.queries import the_lab
from apps.intake.models import Job, Request, Sample
from apps.laundering.models import Load
from apps.laundering.queries import groups, waiting, with_proposals
from apps.methods.models import LaunderingProcedure
from tests.cast import NOON, LabTestCase
from tests.laundering.support import ready, whole_cycle

TODAY = NOON.date()


class ProposalTests(LabTestCase):
    def weighing(self, gsm: str | None, days: int | None = None, **how) -> Request:
        request = ready(self, **how)
        Sample.objects.filter(pk=request.sample_id).update(mass_gsm=gsm)
        due = None if days is None else TODAY + timedelta(days=days)
        Job.objects.filter(pk=request.sample.job_id).update(due_on=due)
        return request

    def loads(self):
        pieces = waiting(self.lou)
        return [load for group in with_proposals(pieces, groups(self.lou, the_lab(), TODAY)) for load in group.loads]

    def test_one_drum_for_what_fits_and_the_oldest_due_first(self):
        soon, later = self.weighing("150", days=1), self.weighing("150", days=9)
        (load,) = self.loads()
        self.assertEqual({piece.job for piece in load.pieces}, {soon.sample.job.number, later.sample.job.number})
        self.assertEqual((load.mass_g, load.due), (130, TODAY + timedelta(days=1)))  # 6 x 0.38 m x 0.38 m x 150 g
        self.weighing("4000", days=0)
        first, *rest = self.loads()
        self.assertEqual((first.due, len(rest)), (TODAY, 1))

    def test_classes_stay_apart_and_late_ones_say_so(self):
        self.weighing("150", days=-1)
        self.weighing("150", construction="knit")
        self.weighing("150", bleeds=True)
        found = self.loads()
        self.assertEqual([(len(load.pieces), load.late) for load in found], [(3, True), (3, False), (3, False)])

    def test_half_of_the_load_where_the_method_says_so(self):
        LaunderingProcedure.objects.filter(code="aatcc-1-iii").update(specimens_at_most_half=True)
        self.weighing("2300")
        self.assertEqual(sorted(len(load.pieces) for load in self.loads()), [1, 2])

    def test_what_weighs_nobody_knows_or_too_much_stands_by_itself(self):
        self.weighing(None), self.weighing("150"), self.weighing("15000")
        kinds = sorted((load.mass_g is None, load.too_heavy, len(load.pieces)) for load in self.loads())
        self.assertEqual(
            kinds, [(False, False, 3), (False, True, 1), (False, True, 1), (False, True, 1), (True, False, 3)]
        )

    def test_later_cycles_take_the_same_ballast_as_before(self):
        load = whole_cycle(self, ready(self, measured_after=(3,)))
        (again,) = self.loads()
        self.assertEqual((again.before, again.mass_g), (load, 240))
        self.sign_in(self.lou)
        self.assertContains(self.client.get("/laundry/"), f"Same as load {load.pk}: 240 g, with 12 pieces of ballast")

    def test_one_tap_takes_it_and_ticking_changes_it(self):
        self.weighing("150")
        self.sign_in(self.lou)
        page = self.client.get("/laundry/")
        self.assertContains(page, "3 pieces, about 65 g")
        self.assertContains(page, "13 pieces of ballast")
        (load,) = self.loads()
        keys = [piece.pk for piece in load.pieces]
        (group,) = groups(self.lou, the_lab(), TODAY)
        ticks = "".join(f"&tick={key}" for key in keys)
        changed = self.client.get(f"/laundry/?group={group.key}{ticks}")
        self.assertContains(changed, " checked", count=3)
        data = {"specimen": keys[:2], "group": str(group.key), "key": uuid.uuid4()}
        self.assertEqual(self.client.post("/laundry/loads/", data).status_code, 302)
        self.assertEqual(Load.objects.get().pieces.count(), 2)

    def test_the_number_of_queries_does_not_grow_with_what_waits(self):
        self.sign_in(self.lou)
        self.weighing("150"), whole_cycle(self, ready(self, measured_after=(3,)))
        for _ in range(2):
            with self.assertNumQueries(15):
                self.client.get("/laundry/")
            [self.weighing("150", construction=kind) for kind in ("woven", "knit") * 4]
