"""What the database itself says about jobs, samples, requests and specimens."""

from apps.intake.locks import SENTENCE, frozen_with_request
from apps.intake.models import (
    Announcement,
    ChosenPhoto,
    ContractReview,
    CutPlan,
    Deviation,
    Job,
    Photo,
    Request,
    Sample,
    SamplePlace,
    SendBack,
    Specimen,
    Spot,
)
from apps.trail.guarding import Guard, frozen_columns, insert_only, never_deleted, write_once

STAYS = "what came in and what was done with it is kept"

# What a report prints of a job and a sample; the rest (priority, due date, notes) stays free.
JOB_PRINTED = ("number", "customer_id", "contact", "purchase_order", "received_at", "received_by_id", "unasked")
SAMPLE_PRINTED = (
    *("job_id", "letter", "code", "description", "kind", "construction", "fibre", "mass_gsm", "colour"),
    *("size", "care_label", "width_mm", "length_mm", "condition", "fault", "bleeds_or_sheds"),
)
LIMITS = ("length_lower", "length_upper", "width_lower", "width_upper", "limits_source", "decision_rule")
ORDER = ("method_id", "procedure_id", "drying_id", "cycles", "measured_after", "fewer_reason")

OF_JOB = "IN (SELECT r.id FROM intake_request r JOIN intake_sample s ON s.id = r.sample_id WHERE s.job_id = {row}.id)"
OF_SAMPLE = "IN (SELECT r.id FROM intake_request r WHERE r.sample_id = {row}.id)"
OF_DEVIATION = (
    "IN (SELECT r.id FROM intake_request r WHERE r.id = {row}.request_id"
    " OR r.id = (SELECT s.request_id FROM intake_specimen s WHERE s.id = {row}.specimen_id))"
)
OF_SPOT = "= (SELECT s.request_id FROM intake_specimen s WHERE s.id = {row}.specimen_id)"
EVERY_OPENING = tuple(Request.OpenedFor.values)

GUARDS = [
    *never_deleted(Announcement, sentence=STAYS),
    write_once(
        Announcement,
        *("customer_id", "by_id", "at", "purchase_order", "expected_on", "remark", "samples", "test"),
        sentence=STAYS,
    ),
    *never_deleted(Job, sentence=STAYS),
    write_once(Job, "number", sentence=STAYS),
    *frozen_with_request("intake_job", OF_JOB, opened_for=("job_details",), columns=JOB_PRINTED, inserts=False)[:1],
    *never_deleted(Sample, sentence=STAYS),
    write_once(Sample, "job_id", "letter", "code", sentence=STAYS),
    *frozen_with_request(
        "intake_sample", OF_SAMPLE, opened_for=("job_details",), columns=SAMPLE_PRINTED, inserts=False
    )[:1],
    *insert_only(SamplePlace, sentence=STAYS),
    *never_deleted(Request, sentence=STAYS),
    write_once(Request, "sample_id", "ordinal", sentence=STAYS),
    Guard(
        "intake_request_order", "intake_request", "update", f"OLD.lock <> 'open' AND {frozen_columns(*ORDER)}", SENTENCE
    ),
    Guard(
        "intake_request_limits",
        "intake_request",
        "update",
        "OLD.lock <> 'open' AND NOT (OLD.lock = 'amending' AND OLD.opened_for = 'limits') AND "
        + frozen_columns(*LIMITS),
        SENTENCE,
    ),
    Guard("intake_request_born_open", "intake_request", "insert", "NEW.lock <> 'open'", "a request begins open"),
    Guard(
        "intake_request_never_reopened",
        "intake_request",
        "update",
        "NEW.lock NOT IN ('open', 'locked', 'amending') OR (OLD.lock <> 'open' AND NEW.lock = 'open')"
        " OR (OLD.lock = 'open' AND NEW.lock = 'amending')"
        " OR (OLD.lock = 'amending' AND NEW.lock = 'amending' AND OLD.opened_for <> NEW.opened_for)",
        "a locked request is opened by an amendment only",
    ),
    *never_deleted(ContractReview, sentence=STAYS),
    write_once(ContractReview, "request_id", sentence=STAYS),
    *frozen_with_request("intake_contractreview", "= {row}.request_id"),
    *never_deleted(Specimen, sentence=STAYS),
    write_once(Specimen, "request_id", "number", "code", sentence=STAYS),
    *frozen_with_request("intake_specimen", "= {row}.request_id", opened_for=("readings", "cycle_record")),
    *insert_only(CutPlan, sentence=STAYS),
    *frozen_with_request("intake_cutplan", "= {row}.request_id", opened_for=("readings",))[2:],
    *insert_only(Spot, sentence=STAYS),
    *frozen_with_request("intake_spot", OF_SPOT, opened_for=("readings",))[2:],
    *insert_only(Photo, sentence=STAYS),
    Guard(
        "intake_photo_of_its_sample",
        "intake_photo",
        "insert",
        "NEW.specimen_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM intake_specimen p JOIN intake_request r"
        " ON r.id = p.request_id WHERE p.id = NEW.specimen_id AND r.sample_id = NEW.sample_id)",
        "a photo is of a specimen of its sample",
    ),
    *never_deleted(ChosenPhoto, sentence=STAYS),
    write_once(ChosenPhoto, "request_id", "photo_id", sentence=STAYS),
    Guard(
        "intake_chosenphoto_of_its_request",
        "intake_chosenphoto",
        "insert",
        "NOT EXISTS (SELECT 1 FROM intake_photo p JOIN intake_request r ON r.sample_id = p.sample_id"
        " WHERE p.id = NEW.photo_id AND r.id = NEW.request_id)",
        "a report shows photos of its own sample",
    ),
    *frozen_with_request("intake_chosenphoto", "= {row}.request_id", opened_for=("wording",)),
    *never_deleted(Deviation, sentence=STAYS),
    write_once(
        Deviation,
        *("job_id", "request_id", "specimen_id", "load_number", "kind", "text", "by_id", "at", "at_risk"),
        sentence=STAYS,
    ),
    Guard("intake_deviation_judged_once", "intake_deviation", "update", "OLD.judged_at IS NOT NULL", STAYS),
    *frozen_with_request("intake_deviation", OF_DEVIATION, opened_for=EVERY_OPENING),
    *never_deleted(SendBack, sentence=STAYS),
    write_once(SendBack, "request_id", "to", "reason", "by_id", "at", sentence=STAYS),
    Guard("intake_sendback_answered_once", "intake_sendback", "update", "OLD.answered_at IS NOT NULL", STAYS),
    *frozen_with_request("intake_sendback", "= {row}.request_id", opened_for=EVERY_OPENING),
]
