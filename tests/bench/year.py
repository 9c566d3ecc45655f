"""A lab of thirty people with work in hand, and any number of issued samples behind it, over DATABASE_URL.

python -m tests.bench.year hand                  # people, machines, work at every step; what a day needs, as JSON
python -m tests.bench.year past --samples 50000  # three pieces each, 24 readings a piece, three cycles, a report a job

The past is copied by the database itself, past the guards; everything else goes under them. Only for a bench.
"""

import argparse
import json
import sys
import time
from typing import Any

import django

PEOPLE = {"front_desk": 6, "bench": 9, "laundry": 8, "manager": 3, "customer": 4}
COMPANIES, SAMPLES_A_JOB, DRUM, CHUNK = 40, 5, 12, 100  # CHUNK: jobs at a time

# In the order of the chain. {low} and {high} bound a chunk's jobs by their place in the list of numbers.
PAST = {
    "jobs": """
INSERT INTO intake_job (number, customer_id, contact, purchase_order, received_at, received_by_id, due_on, priority,
  notes, unasked)
SELECT number, {company} + n % {companies}, '', 'invented ' || n, {then} - n * interval '1 year' / {jobs}, {fran},
  ({then} - n * interval '1 year' / {jobs})::date + 10, 'normal', '', false FROM numbers WHERE n >= {low} AND n < {high}
""",
    "samples": """
INSERT INTO intake_sample (job_id, letter, code, description, kind, construction, fibre, colour, size, care_label,
  condition, fault, bleeds_or_sheds)
SELECT j.id, chr(64 + k), j.number || '-' || chr(64 + k), (ARRAY['shirting poplin', 'single jersey', 'denim',
  'interlock', 'canvas', 'rib'])[1 + (n + k) % 6] || ', invented ' || n, 'fabric', (ARRAY['woven', 'knit'])[1 + k % 2],
  '', '', '', '', '', '', false FROM {these_jobs}, generate_series(1, {each}) k
""",
    "requests": """
INSERT INTO intake_request (sample_id, ordinal, method_id, procedure_id, drying_id, cycles, measured_after,
  limits_source, decision_rule, fewer_reason, lock, opened_for)
SELECT s.id, 1, {method}, {procedure}, {drying}, 3, '1,2,3', '', 'simple', '', 'locked', '' FROM {these_samples}
""",
    "reviews": """
INSERT INTO intake_contractreview (request_id, can_do, enough_cloth, agreed, label, remark, by_id, at)
SELECT r.id, true, true, true, '', '', {fran}, j.received_at FROM {these_requests}
""",
    "specimens": """
INSERT INTO intake_specimen (request_id, number, code, stage, stage_since, cycles_valid, times_wetted,
  set_aside_reason)
SELECT r.id, k, s.code || k, 'done', j.received_at, 3, 3, '' FROM {these_requests}, generate_series(1, 3) k
""",
    "pairs": """
INSERT INTO measuring_benchmarkpair (specimen_id, direction, number, place, side, nominal_mm, lost_reason)
SELECT p.id, (ARRAY['length', 'width'])[1 + k / 3], 1 + k % 3, '', '', 250, ''
FROM {these_specimens}, generate_series(0, 5) k
""",
    "readings": """
INSERT INTO measuring_reading (pair_id, stage, text, unit, mm, read_by_id, at, recorded_at, void_reason)
SELECT b.id, k, 250 - k, 'mm', 250 - k, {bea}, j.received_at, j.received_at, ''
FROM {these_specimens} JOIN measuring_benchmarkpair b ON b.specimen_id = p.id, generate_series(0, 3) k
""",
    "loads": """
INSERT INTO laundering_load (procedure_id, state, made_up_at, made_up_by_id, wash_by_id, void_reason, washer_id,
  specimen_mass_g, ballast_mass_g, ballast_pieces, ballast, detergent, detergent_lot, detergent_g, water_temp_c,
  temp_source, programme, water_level, water_hardness, wash_started_at, wash_ended_at)
SELECT {procedure}, 'washed', t, {lou}, {lou}, '', {washer}, 300, 1500, 11, 'type 3', 'invented', 'L', 66, 41,
  'dip', 'Normal', '', '', t, t
FROM (SELECT {then} - ({low} + d * {chunk} / (3.0 * {drums})) * interval '1 year' / {jobs} AS t
  FROM generate_series(1, 3 * {drums}) d) whole
""",
    "dryings": """
INSERT INTO laundering_drying (procedure_id, state, started_at, ended_at, lint_filter_cleaned, remark, dryness, by_id,
  void_reason)
SELECT {drying}, 'dried', wash_ended_at, wash_ended_at, false, '', '', {lou}, '' FROM laundering_load
WHERE id > {last_load} ORDER BY id
""",
    "pieces": """
INSERT INTO laundering_loadpiece (load_id, specimen_id, ordinal, drying_id, open, outcome, reason)
SELECT l.id, p.id, c, l.id - {last_load} + {last_drying}, false, 'ticked', ''
FROM (SELECT p.id, row_number() OVER (ORDER BY p.id) - 1 AS place FROM {these_specimens}) p, generate_series(1, 3) c
JOIN laundering_load l ON true
WHERE l.id = {last_load} + 1 + (c - 1) * {drums} + p.place / {drum}
""",
    "cycles": """
INSERT INTO laundering_cyclelog (specimen_id, ordinal, piece_id, done_at, done_by_id, recorded_at, void_reason)
SELECT specimen_id, ordinal, id, {then}, {lou}, {then}, '' FROM laundering_loadpiece WHERE load_id > {last_load}
""",
    "deviations": """
INSERT INTO intake_deviation (job_id, request_id, specimen_id, kind, text, by_id, at, at_risk, judgement)
SELECT j.id, r.id, p.id, 'reading', 'read a little late, invented', {bea}, j.received_at, false, ''
FROM {these_specimens} WHERE p.id % 10 = 0
""",
    "reports": """
INSERT INTO reporting_report (job_id, serial, revision, number, interim, facts, facts_sha256, facts_version, chain_seq,
  chain_head, verification_code, approved_by_id, approved_at, meaning)
SELECT j.id, 1, 0, j.number || '-01', false, '{{}}', repeat('0', 64), 1, 1, repeat('0', 64), 'X', {mara},
  j.received_at + interval '9 days', 'approved' FROM {these_jobs}
""",
    "requests of reports": """
INSERT INTO reporting_reportrequest (report_id, request_id)
SELECT o.id, r.id FROM {these_requests} JOIN reporting_report o ON o.job_id = j.id
""",
    "files": """
INSERT INTO reporting_reportfile (report_id, kind, blob_id, created_at)
SELECT o.id, 'pdf', '{blob}', o.approved_at FROM {these_jobs} JOIN reporting_report o ON o.job_id = j.id
""",
    "files due": """
INSERT INTO reporting_filedue (report_id, kind, next_try_at, tries, last_error, done_at)
SELECT o.id, 'pdf', o.approved_at, 1, '', o.approved_at FROM {these_jobs} JOIN reporting_report o ON o.job_id = j.id
""",
    "letters": """
INSERT INTO accounts_outgoing ("to", subject, body, created_at, sent_at, tries, next_try_at, last_error)
SELECT 'casey@example.com', 'Report ' || j.number, 'invented', j.received_at, j.received_at, 1, j.received_at, ''
FROM {these_jobs}
""",
    "trail": """
INSERT INTO trail_trailentry (stream, seq, kind, at, recorded_at, actor_id, actor_name, facts, payload_sha256,
  prev_hash, hash)
SELECT 'job:' || j.number, k, 'invented', j.received_at, j.received_at, {bea}, 'Bea Bench', '{{}}', '',
  repeat('0', 64), repeat('0', 64) FROM {these_jobs}, generate_series(1, 25) k
""",
}
CHAIN = {"these_jobs": "numbers JOIN intake_job j USING (number)"}
CHAIN["these_samples"] = CHAIN["these_jobs"] + " JOIN intake_sample s ON s.job_id = j.id"
CHAIN["these_requests"] = CHAIN["these_samples"] + " JOIN intake_request r ON r.sample_id = s.id"
CHAIN["these_specimens"] = CHAIN["these_requests"] + " JOIN intake_specimen p ON p.request_id = r.id"


def write_hand(waiting: int) -> dict[str, Any]:
    """People who are signed in, and work at every step, `waiting` specimens each: what a day's people take up."""
    from apps.laundering.models import Load
    from apps.measuring.models import BenchmarkPair
    from tests.bench.history import Book, lots
    from tests.cast import a_person
    from tests.faults.work import somebody

    book = Book()
    _, *in_hand = lots(waiting, 0)
    done, owed, ready, marked, uncut = [book.write(lot) for lot in in_hand]
    people = {}
    for role, number in PEOPLE.items():
        is_one = {"customer": book.cast.quellbach} if role == "customer" else {role: True}
        people[role] = [a_person(f"{role}{n}", f"{role} {n}, invented", **is_one).username for n in range(number)]
    cells = BenchmarkPair.objects.filter(specimen__request__in=marked).order_by("pk")
    pieces = {request.pk: request.specimens.order_by("pk") for request in ready}
    _settle()
    return {
        "people": {role: [somebody(name) for name in names] for role, names in people.items()},
        "jobs": [request.sample.job.number for request in done],
        "samples": [request.sample.code for request in done],
        "owed": [request.sample.code for request in owed],
        "uncut": [request.sample.code for request in uncut],
        "cells": list(cells.values_list("specimen__request__sample__code", "pk")),
        "ready": ["-".join(str(piece.pk) for piece in rows) for rows in pieces.values()],
        "request_of": {request.sample.job.number: request.pk for request in done},
        "own_jobs": list(book.cast.quellbach.jobs.values_list("number", flat=True)),
        "loads": Load.objects.count(),
    }


def write_past(samples: int) -> dict[str, int]:
    """`samples` that were received, washed, read and reported within a year. How many rows of each."""
    from django.db import connection

    from apps.accounts.models import Customer, User
    from apps.calc.numbering import check_char
    from apps.equipment.models import Equipment
    from apps.intake.models import Request
    from apps.trail.services import store_blob

    jobs = -(-samples // SAMPLES_A_JOB)
    first = Request.objects.first()
    names = {name: User.objects.get(username=name).pk for name in ("fran", "bea", "lou", "mara")}
    made = [Customer.objects.create(name=f"Company {n}, invented").pk for n in range(COMPANIES)]
    names |= {"company": made[0], "companies": COMPANIES, "jobs": jobs, "each": SAMPLES_A_JOB, "drum": DRUM}
    names |= {"chunk": CHUNK, "then": "(now() - interval '2 days')"}  # what lies in hand is of today
    names |= {"method": first.method_id, "procedure": first.procedure_id, "drying": first.drying_id}
    names["washer"] = Equipment.objects.filter(kind="washer").first().pk
    names["blob"] = store_blob(content=b"%PDF, invented", content_type="application/pdf").pk
    counted = dict.fromkeys(PAST, 0)
    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute("CREATE TEMPORARY TABLE all_numbers (n int, number text)")
        all_numbers = [(n, _number(n, check_char)) for n in range(jobs)]
        cursor.executemany("INSERT INTO all_numbers VALUES (%s, %s)", all_numbers)
        cursor.execute("CREATE TEMPORARY TABLE numbers (n int, number text)")
        began = time.monotonic()
        for low in range(0, jobs, CHUNK):
            names |= {"low": low, "high": low + CHUNK}
            cursor.execute("TRUNCATE numbers")
            cursor.execute(f"INSERT INTO numbers SELECT * FROM all_numbers WHERE n >= {low} AND n < {low + CHUNK}")
            cursor.execute("ANALYZE numbers")
            names["drums"] = -(-min(CHUNK, jobs - low) * SAMPLES_A_JOB * 3 // DRUM)
            for table in ("load", "drying"):
                cursor.execute(f"SELECT coalesce(max(id), 0) FROM laundering_{table}")
                (names[f"last_{table}"],) = cursor.fetchone()
            for what, sql in PAST.items():
                cursor.execute(sql.format(**names, **CHAIN))
                counted[what] += cursor.rowcount
            _bar(min(low + CHUNK, jobs), jobs, began)
        cursor.execute("SET session_replication_role = DEFAULT")
    _settle()
    return counted


def _number(n: int, check_char: Any) -> str:
    digits = f"25{n:05d}"
    return f"25-{n:05d}{check_char(digits)}"


def _settle() -> None:
    """As autovacuum leaves it: the planner knows the tables, and which pages all may see."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def _bar(done: int, all_: int, began: float) -> None:
    filled, took = 40 * done // all_, time.monotonic() - began
    left = took / done * (all_ - done)
    ends = "\n" if done == all_ else "\r"
    print(f"  [{'#' * filled:40}] {done:,} of {all_:,} jobs, {left:.0f} s left ", end=ends, file=sys.stderr, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(prog="tests.bench.year", description=__doc__.split("\n\n")[0])
    parser.add_argument("what", choices=["hand", "past"])
    parser.add_argument("--waiting", type=int, default=150, help="specimens at each step of the work (default 150)")
    parser.add_argument("--samples", type=int, default=50_000, help="of the past (default 50000)")
    wanted = parser.parse_args()
    django.setup()
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    print(json.dumps(write_hand(wanted.waiting) if wanted.what == "hand" else write_past(wanted.samples)))


if __name__ == "__main__":
    main()
