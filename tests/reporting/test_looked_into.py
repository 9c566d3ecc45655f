"""What the manager is shown beyond the facts."""

from datetime import timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.equipment import services as equipment
from apps.reporting.queries import review
from tests.cast import NOON, LabTestCase, a_calibration
from tests.reporting.support import a_finished_job


class LookedIntoTests(LabTestCase):
    def told(self, job) -> list[str]:
        return [f"{notice.where} {notice.word}: {notice.text}" for notice in review(job).notices]

    def test_readings_that_came_early(self):
        told = self.told(a_finished_job(self))
        early = [line for line in told if "early measuring" in line]
        assert early == [
            f"A{n} early measuring: after cycle 1 read 0 min after its drying; the shortest conditioning time of "
            "AATCC TM135-2018 is 2 h"
            for n in (1, 2, 3)
        ]

    def test_a_machine_that_was_out_of_service_as_is_known_since(self):
        job = a_finished_job(self, at=NOON - timedelta(hours=1))
        assert not [line for line in self.told(job) if "equipment" in line]
        out = {"equipment_id": self.washers[0].pk, "reason": "thermostat stuck", "by": self.mara}
        equipment.put_out_of_service(**out, at=NOON - timedelta(hours=2))
        (line,) = [line for line in self.told(job) if "equipment" in line]
        assert line.endswith("equipment: W1 was out of service: thermostat stuck")

    def test_a_machine_that_was_not_fit(self):
        a_calibration(self, self.dryers[0], as_found="runs 15 °C too hot", usable=True)
        job = a_finished_job(self)
        assert not [line for line in self.told(job) if "equipment" in line]
        a_calibration(self, self.dryers[0], as_found="runs 15 °C too hot", usable=False)
        (line,) = [line for line in self.told(job) if "equipment" in line]
        assert "D1 was found not fit for use before: runs 15 °C too hot" in line

    def test_does_not_grow(self):
        small, large = a_finished_job(self), a_finished_job(self, samples=3, cycles=2, measured_after=(1, 2))

        counts = []
        for job in (small, large):
            with CaptureQueriesContext(
                connection,
            ) as asked:
                review(job)
            counts.append(len(asked))
        assert counts[0] == counts[1], counts
