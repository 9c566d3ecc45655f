"""Three cycles of one request, from the drum to the bench and back."""

from apps.intake.models import Specimen
from apps.laundering.models import CycleLog, Load
from apps.laundering.queries import cycle_record
from apps.trail.queries import broken_link, timeline
from tests.cast import LabTestCase, with_readings
from tests.laundering.support import pieces_of, ready, whole_cycle


class ThreeCyclesTests(LabTestCase):
    def test_the_readings_are_due_after_the_cycles_that_ask_for_them(self):
        request = ready(self)
        whole_cycle(self, request)
        self.assertEqual({piece.stage for piece in pieces_of(request)}, {Specimen.Stage.OWED})
        with_readings(self, request, 1, "249")
        whole_cycle(self, request)
        self.assertEqual({piece.stage for piece in pieces_of(request)}, {Specimen.Stage.READY})
        whole_cycle(self, request)
        self.assertEqual({piece.stage for piece in pieces_of(request)}, {Specimen.Stage.OWED})
        self.assertEqual({(piece.cycles_valid, piece.times_wetted) for piece in pieces_of(request)}, {(3, 3)})
        with_readings(self, request, 3, "248")
        self.assertEqual({piece.stage for piece in pieces_of(request)}, {Specimen.Stage.DONE})

    def test_the_record_names_load_and_drying_of_each_cycle(self):
        request = ready(self)
        load = whole_cycle(self, request)
        with self.assertNumQueries(3):
            record = cycle_record([request])[request.pk]
        self.assertEqual([row.specimen.short_code for row in record], ["A1", "A2", "A3"])
        self.assertEqual({(row.ordinal, row.load.pk, row.conditions.pk) for row in record}, {(1, load.pk, load.pk)})
        self.assertEqual({row.drying.dryer for row in record}, {self.dryers[0]})
        self.assertEqual({row.done_by for row in record}, {self.lou})

    def test_every_act_stands_in_the_trail(self):
        request = ready(self)
        whole_cycle(self, request)
        stream = request.sample.job.stream
        kinds = [entry.kind for entry in timeline(stream).order_by("seq")][-6:]
        self.assertEqual(
            kinds,
            ["load.made_up", "load.wash_started", "load.washed", "drying.started", "drying.ended", "cycle.ticked"],
        )
        self.assertIsNone(broken_link(stream))
        self.assertEqual(CycleLog.objects.count(), 3)
        self.assertEqual(Load.objects.get().state, Load.State.WASHED)
