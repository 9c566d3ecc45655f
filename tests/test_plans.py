"""No page reads a large table from end to end: PostgreSQL's own plan of every statement of every page."""

import re

import pytest

from apps.intake.models import Job
from tests.walls.house import HouseTestCase
from tests.walls.plans import ALL_THE_SAME, Reader, Statement, large_tables, partial_indexes, whole_reads

# What touched an instrument in a year is a year's work: asked once in a while. Its indexes are still to be made.
OF_A_WHOLE_TIME = "/control/touched/"


@pytest.mark.postgres_only
class PlanTests(HouseTestCase):
    def faults(self, statements: list[Statement]) -> list[str]:
        large, partial = large_tables(), partial_indexes()
        told: dict[str, str] = {}
        for statement in statements:
            for fault in whole_reads(statement.plan(), large, partial):
                told.setdefault(fault, f"{fault}\n    {statement.page}\n    {statement.sql}")
        return list(told.values())

    def test_no_page_reads_a_large_table_from_end_to_end(self):
        heard = Reader().read_all()
        self.assertGreater(len(heard), 250)
        allowed = [[one for one in heard if re.fullmatch(pattern, one.sql, re.DOTALL)] for pattern in ALL_THE_SAME]
        self.assertTrue(all(allowed), "allowed, and no page asks it")
        heard = [one for one in heard if OF_A_WHOLE_TIME not in one.page]
        others = [one for one in heard if not any(one in some for some in allowed)]
        faults = self.faults(others)
        self.assertEqual(len(faults), 0, "\n" + "\n".join(faults))

    def test_what_no_index_serves_is_found(self):
        listening = Reader()
        with listening.to("nowhere"):
            list(Job.objects.filter(contact="Casey"))  # read whole
            list(Job.objects.filter(contact="Casey")[:1])  # read until one is found: perhaps whole
            list(Job.objects.all()[:1])  # stops at the first
            list(Job.objects.filter(number="26-00003K"))
        faults = {statement.sql: self.faults([statement]) for statement in listening.heard.values()}
        self.assertEqual([len(found) for found in faults.values()], [1, 1, 0, 0])
