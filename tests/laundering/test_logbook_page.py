"""The log book: a day's runs, machine by machine."""

from datetime import timedelta

from apps.laundering import services
from apps.laundering.queries import logbook
from tests.cast import NOON, LabTestCase
from tests.laundering.support import WASH, dry, end, make_up, ready, start, washed, whole_cycle

TODAY = NOON.date()


class LogbookTests(LabTestCase):
    def test_runs_stand_under_their_machine_with_pieces_conditions_and_deviations(self):
        load = start(self, make_up(self, ready(self)), water_temp_c="36", deviation="heater is weak", at_risk=True)
        end(self, load)
        drying = dry(self, load)
        services.void_drying(drying_id=drying.pk, reason="belt torn", by=self.lou, at=NOON)
        dry(self, load, dryer_id=self.dryers[1].pk)
        day = logbook(self.lou, TODAY)
        self.assertEqual([machine.name for machine in day.machines], ["W1", "D1", "D2"])
        (wash,) = day.machines[0].washes
        self.assertEqual((wash.load, len(wash.pieces), len(wash.deviations)), (load, 3, 2))
        self.assertEqual([len(machine.dries[0].pieces) for machine in day.machines[1:]], [3, 3])
        self.sign_in(self.bea)
        page = self.client.get(f"/laundry/logbook/?day={TODAY}")
        for text in ("36 °C", "heater is weak", "belt torn", "Lou Laundry", "W1", "D2"):
            self.assertContains(page, text)

    def test_air_drying_stands_last_and_void_runs_stay(self):
        load = washed(self, ready(self, dry="aatcc-b"))
        dry(self, load, dryer_id=None)
        other = start(self, make_up(self, ready(self)))
        services.void_load(load_id=other.pk, reason="power cut", by=self.lou, at=NOON)
        day = logbook(self.lou, TODAY)
        self.assertEqual([machine.name for machine in day.machines], ["W1", ""])
        self.assertEqual([wash.load for wash in day.machines[0].washes], [load, other])

    def test_a_correction_holds_and_says_so(self):
        load = washed(self, ready(self))
        record = services.WashRecord(washer_id=self.washers[1].pk, wash_started_at=NOON, wash_ended_at=NOON, **WASH)
        services.correct_load(
            load_id=load.pk, shown_revision=0, record=record, reason="wrong washer", by=self.lou, at=NOON
        )
        day = logbook(self.lou, TODAY)
        self.assertEqual([machine.name for machine in day.machines], ["W2"])
        self.assertTrue(day.machines[0].washes[0].corrected)

    def test_days_lead_to_the_nearest_with_runs(self):
        washed(self, ready(self))
        far = TODAY + timedelta(days=40)
        self.assertEqual(logbook(self.lou, far).before, TODAY)
        self.assertEqual(logbook(self.lou, TODAY - timedelta(days=40)).after, TODAY)
        day = logbook(self.lou, TODAY)
        self.assertEqual((day.before, day.after), (None, None))

    def test_a_day_that_is_none_shows_today_and_says_so(self):
        washed(self, ready(self))
        self.sign_in(self.lou)
        for text in ("", "x", "2026-02-30", "0001-01-01", "9999-12-31", "9" * 10_000, "2026-03-02%00", "👕"):
            page = self.client.get(f"/laundry/logbook/?day={text}")
            self.assertContains(page, "Shown is today")
            self.assertContains(page, "W1")
        self.assertNotContains(self.client.get("/laundry/logbook/"), "Shown is today")

    def test_the_lab_reads_it_and_nobody_else(self):
        expected = {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403, "nobody": 302}
        for name, status in expected.items():
            self.sign_in(getattr(self, name, None))
            self.assertEqual(self.client.get("/laundry/logbook/").status_code, status, name)

    def test_the_number_of_queries_does_not_grow(self):
        whole_cycle(self, ready(self, count=2))
        self.sign_in(self.lou)
        with self.assertNumQueries(15):
            self.client.get(f"/laundry/logbook/?day={TODAY}")
        for _ in range(5):
            whole_cycle(self, ready(self), ready(self))
        with self.assertNumQueries(15):
            self.client.get(f"/laundry/logbook/?day={TODAY}")
