"""What may happen to jobs, samples, requests and specimens. Other rooms import from here."""

from apps.intake.services.announcing import Announced, announce, withdraw_announcement
from apps.intake.services.corrections import change_request, correct_job, correct_sample, move_sample, review_request
from apps.intake.services.details import (
    JobDetails,
    NewCustomer,
    RequestDetails,
    ReviewDetails,
    SampleDetails,
    request_faults,
    sample_faults,
)
from apps.intake.services.exceptions import (
    answer_send_back,
    deviate,
    disclose_late,
    is_late,
    judge_deviation,
    send_back,
)
from apps.intake.services.notices import tell_delays
from apps.intake.services.photos import JPEG, choose_photos, keep_photo
from apps.intake.services.receiving import add_request, add_sample, receive_job
from apps.intake.services.specimens import advance, cut_specimens, set_aside

__all__ = [
    "JPEG",
    "Announced",
    "JobDetails",
    "NewCustomer",
    "RequestDetails",
    "ReviewDetails",
    "SampleDetails",
    "add_request",
    "add_sample",
    "advance",
    "announce",
    "answer_send_back",
    "change_request",
    "choose_photos",
    "correct_job",
    "correct_sample",
    "cut_specimens",
    "deviate",
    "disclose_late",
    "is_late",
    "judge_deviation",
    "keep_photo",
    "move_sample",
    "receive_job",
    "request_faults",
    "review_request",
    "sample_faults",
    "send_back",
    "set_aside",
    "tell_delays",
    "withdraw_announcement",
]
