"""May it be used, and could it be used then? Out of service and back, calibrated and overdue, asked of any moment."""

import uuid
from datetime import date

from apps.core import clock
from apps.equipment import queries, services
from apps.equipment.models import Equipment
from tests.cast import NOON, a_calibration
from tests.equipment.support import DAY, HOUR, TODAY, EquipmentCase, a_piece


class UseCase(EquipmentCase):
    def put_out(self, equipment, reason="leaks", **values):
        return services.put_out_of_service(
            equipment_id=equipment.pk, reason=reason, **{"by": self.lou, "at": NOON, **values}
        )

    def give_back(self, equipment, **values):
        return services.return_to_service(equipment_id=equipment.pk, **{"by": self.mara, "at": NOON, **values})


class OutOfServiceTests(UseCase):
    def test_out_and_back(self):
        washer = self.put_out(self.washers[0], " door seal  leaks ")
        self.assertEqual(queries.state_at(washer, NOON).out.reason, "door seal leaks")
        self.give_back(washer, checked="new seal, no drop in a full cycle")
        self.assertIsNone(queries.state_at(washer, NOON).out)
        back, out = self.entries(washer)
        self.assertEqual(
            (out.kind, out.actor_name, out.facts["reason"]),
            ("equipment.out_of_service", "Lou Laundry", "door seal leaks"),
        )
        self.assertEqual(back.kind, "equipment.returned")
        self.assertEqual(back.facts["was_out_because"], "door seal leaks")
        self.assertEqual(back.facts["checked"], "new seal, no drop in a full cycle")

    def test_refuses_without_a_reason_twice_and_in_the_wrong_state(self):
        washer = self.washers[0]
        self.refused("reason_missing", self.put_out, washer, "  ", field="reason")
        self.refused("too_long", self.put_out, washer, "x" * 201, field="reason")
        self.refused("already_in_service", self.give_back, washer)
        self.put_out(washer)
        self.assertIn("leaks", self.refused("already_out_of_service", self.put_out, washer, "other"))

    def test_refuses_a_time_that_cannot_be(self):
        washer = self.washers[0]
        self.refused("future", self.put_out, washer, at=NOON + HOUR)
        self.put_out(washer, at=NOON - 3 * HOUR)
        self.refused("before_previous_step", self.give_back, washer, at=NOON - 4 * HOUR)
        self.give_back(washer, at=NOON - HOUR)
        self.refused("before_previous_step", self.put_out, washer, at=NOON - 2 * HOUR)

    def test_refuses_to_return_for_a_reason_not_shown(self):
        washer = self.put_out(self.washers[0])
        shown = washer.times_out.get().pk
        self.give_back(washer)
        self.put_out(washer, "thermostat drifts")
        sentence = self.refused("stale_page", self.give_back, washer, period_id=shown)
        self.assertIn("thermostat drifts", sentence)

    def test_sent_twice_it_happens_once(self):
        washer = self.washers[0]
        for act in (self.put_out, self.give_back):
            key = uuid.uuid4()
            act(washer, key=key)
            act(washer, key=key)
        self.assertEqual(len(self.entries(washer)), 2)
        self.assertEqual(washer.times_out.count(), 1)

    def test_was_it_out_then(self):
        washer = self.washers[0]
        self.put_out(washer, "belt torn", at=NOON - 5 * HOUR)
        self.give_back(washer, at=NOON - 3 * HOUR)
        self.put_out(washer, "leaks", at=NOON - HOUR)
        out = {-6: "", -5: "belt torn", -4: "belt torn", -3: "", -2: "", -1: "leaks", 0: "leaks"}
        for hours, reason in out.items():
            with self.subTest(hours=hours):
                found = queries.state_at(washer, NOON + hours * HOUR).out
                self.assertEqual(found.reason if found else "", reason)


class CheckUsableTests(UseCase):
    def test_nothing_to_say(self):
        self.assertEqual(services.check_usable(self.washers[0], NOON), [])
        a_calibration(self, self.washers[0], due_on=TODAY)
        self.assertEqual(services.check_usable(self.washers[0], NOON), [])

    def test_overdue_is_disclosed(self):
        a_calibration(self, self.washers[0], due_on=TODAY - DAY)
        self.assertEqual(
            services.check_usable(self.washers[0], NOON),
            ["The calibration or verification of W1 was due on 1 Mar 2026."],
        )

    def test_overdue_is_refused_where_the_lab_says_so(self):
        scale = a_piece(self, "scale", "Scale 1", overdue_rule="refuse")
        a_calibration(self, scale, due_on=TODAY - DAY)
        sentence = self.refused("overdue_refused", services.check_usable, scale, NOON)
        self.assertEqual(
            sentence,
            "The calibration or verification of Scale 1 was due on 1 Mar 2026. It must not be used until that is done.",
        )
        self.assertEqual(services.check_usable(scale, NOON - DAY), [])

    def test_never_calibrated_though_it_should_be(self):
        balance = a_piece(self, "balance", "Balance 1", interval_months=12)
        told = ["No calibration or verification of Balance 1 is recorded."]
        self.assertEqual(services.check_usable(balance, NOON), told)
        a_calibration(self, balance, done_on=TODAY)
        self.assertEqual(services.check_usable(balance, NOON), [])
        self.assertEqual(services.check_usable(balance, NOON - DAY), told)

    def test_found_not_fit_is_refused_from_that_day_on(self):
        washer = self.washers[0]
        a_calibration(self, washer, done_on=date(2026, 2, 20), as_found="3 °C too cold", usable=False)
        sentence = self.refused("not_fit", services.check_usable, washer, NOON)
        self.assertEqual(sentence, "W1 was found not fit for use on 20 Feb 2026: 3 °C too cold")
        self.assertEqual(services.check_usable(washer, NOON - 11 * DAY), [])
        a_calibration(self, washer, done_on=date(2026, 2, 25), as_left="heater renewed, 40.1 °C")
        self.assertEqual(services.check_usable(washer, NOON), [])
        self.refused("not_fit", services.check_usable, washer, NOON - 8 * DAY)

    def test_what_held_then_is_asked_not_what_holds_today(self):
        washer = self.washers[0]
        a_calibration(self, washer, done_on=date(2025, 2, 1), due_on=date(2026, 2, 1))
        a_calibration(self, washer, done_on=date(2026, 2, 20), due_on=date(2027, 2, 20))
        self.assertEqual(services.check_usable(washer, NOON), [])
        self.assertEqual(
            services.check_usable(washer, NOON - 15 * DAY),
            ["The calibration or verification of W1 was due on 1 Feb 2026."],
        )

    def test_of_two_on_a_day_the_later_one_holds(self):
        a_calibration(self, self.washers[0], done_on=TODAY, usable=False)
        self.refused("not_fit", services.check_usable, self.washers[0], NOON)
        a_calibration(self, self.washers[0], done_on=TODAY)
        self.assertEqual(services.check_usable(self.washers[0], NOON), [])

    def test_the_day_is_the_labs_own(self):
        a_calibration(self, self.washers[0], due_on=TODAY)
        late = NOON.replace(hour=23, minute=30)
        self.assertEqual(services.check_usable(self.washers[0], late), [])
        with self.settings(TIME_ZONE="Europe/Vienna"):
            self.assertEqual(len(services.check_usable(self.washers[0], late)), 1)

    def test_out_of_service_is_refused(self):
        washer = self.put_out(self.washers[0], at=NOON - HOUR)
        self.assertEqual(
            self.refused("out_of_service", services.check_usable, washer, NOON), "W1 is out of service: leaks"
        )
        self.assertEqual(services.check_usable(washer, NOON - 2 * HOUR), [])
        self.give_back(washer)
        sentence = self.refused("out_of_service", services.check_usable, washer, NOON - HOUR / 2)
        self.assertEqual(sentence, "W1 was out of service: leaks")

    def test_two_questions_to_the_database(self):
        with self.assertNumQueries(2):
            services.check_usable(self.washers[0], NOON)


class UsableQueryTests(UseCase):
    def test_of_the_kind_in_service_and_fit_with_overdue_marked(self):
        self.put_out(self.washers[0])
        a_calibration(self, self.washers[1], due_on=TODAY - DAY)
        for name, due_on, rule, fit in (
            ("W3", TODAY, "disclose", True),
            ("W4", TODAY - DAY, "refuse", True),
            ("W5", None, "disclose", False),
            ("W6", None, "refuse", True),
        ):
            a_calibration(self, a_piece(self, "washer", name, overdue_rule=rule), due_on=due_on, usable=fit)
        a_piece(self, "washer", "W7", interval_months=12)
        found = [(row.name, row.is_overdue) for row in queries.usable("washer", TODAY)]
        self.assertEqual(found, [("W2", True), ("W3", False), ("W6", False), ("W7", True)])
        self.assertEqual([row.name for row in queries.usable("dryer", TODAY)], ["D1", "D2"])
        self.assertEqual(list(queries.usable("spaceship", TODAY)), [])

    def test_comes_back_with_its_return(self):
        self.put_out(self.washers[0])
        self.give_back(self.washers[0])
        self.assertIn(self.washers[0], queries.usable("washer", TODAY))

    def test_get(self):
        self.assertEqual(queries.get_equipment(self.washers[0].pk), self.washers[0])
        self.assertIsNone(queries.get_equipment(0))

    def test_the_clock_may_run_a_little_ahead(self):
        with clock.set_to(NOON):
            self.put_out(self.washers[0], at=NOON + clock.SKEW)
        self.assertFalse(Equipment.objects.filter(pk=self.washers[0].pk, times_out__until__isnull=False).exists())
