"""Half a million past cycles within a minute: rows copied by the database itself, past the guards. Only for a bench."""

from django.db import connection

from apps.intake.models import Specimen
from tests.bench.history import DRUM, Book, Lot, Stage

CYCLES = 3

# What was washed long ago is reported, and its requests are locked.
REPORTED = """
UPDATE intake_request SET lock = 'locked' WHERE id IN (SELECT request_id FROM intake_specimen WHERE stage = 'done')
"""
LOADS = """
INSERT INTO laundering_load (procedure_id, state, made_up_at, made_up_by_id, wash_by_id, void_reason, washer_id,
  specimen_mass_g, ballast_mass_g, ballast_pieces, ballast, detergent, detergent_lot, detergent_g, water_temp_c,
  temp_source, programme, water_level, water_hardness, wash_started_at, wash_ended_at)
SELECT {procedure}, 'washed', t, {lou}, {lou}, '', {washer}, 300, 1500, 11, 'type 3', 'invented', 'L', 66, 41,
  'dip', 'Normal', '', '', t, t
FROM (SELECT now() - n * interval '1 hour' AS t FROM generate_series(1, {loads}) n) whole
"""
DRYINGS = """
INSERT INTO laundering_drying (procedure_id, state, started_at, ended_at, lint_filter_cleaned, remark, dryness, by_id,
  void_reason)
SELECT {drying}, 'dried', wash_ended_at, wash_ended_at, false, '', '', {lou}, '' FROM laundering_load ORDER BY id
"""
PIECES = """
INSERT INTO laundering_loadpiece (load_id, specimen_id, ordinal, drying_id, open, outcome, reason)
SELECT {first_load} + drum, specimen, cycle, {first_drying} + drum, false, 'ticked', ''
FROM (SELECT s.id AS specimen, c AS cycle,
        (c - 1) * {drums} + (row_number() OVER (PARTITION BY c ORDER BY s.id) - 1) / {drum} AS drum
      FROM intake_specimen s, generate_series(1, {cycles}) c WHERE s.stage = 'done') whole
"""
LOGS = """
INSERT INTO laundering_cyclelog (specimen_id, ordinal, piece_id, done_at, done_by_id, recorded_at, void_reason)
SELECT specimen_id, ordinal, id, now(), {lou}, now(), '' FROM laundering_loadpiece
"""


def write_queue(waiting: int, past: int) -> Book:
    book = Book()
    book.write(Lot(-(-waiting // 3), Stage.READY))
    jobs = -(-past // (3 * CYCLES))
    book.write(Lot(jobs, Stage.CUT, cycles=CYCLES, logged=False))  # without marks: the queue never looks at them
    Specimen.objects.filter(stage=Stage.CUT).update(stage=Stage.DONE)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(REPORTED)
        names = {"lou": book.cast.lou.pk, "washer": book.washer.pk, "drying": book.drying.pk, "drum": DRUM}
        names |= {"procedure": book.washes[0].pk, "cycles": CYCLES}
        names["drums"] = -(-Specimen.objects.filter(stage="done").count() // DRUM)
        names["loads"] = CYCLES * names["drums"]
        for sql in (LOADS, DRYINGS):
            cursor.execute(sql.format(**names))
        for name, table in (("first_load", "laundering_load"), ("first_drying", "laundering_drying")):
            cursor.execute(f"SELECT min(id) FROM {table}")
            names[name] = cursor.fetchone()[0]
        for sql in (PIECES, LOGS):
            cursor.execute(sql.format(**names))
        cursor.execute("SET session_replication_role = DEFAULT")
        cursor.execute("ANALYZE")
    return book
