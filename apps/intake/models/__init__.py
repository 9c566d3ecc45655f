"""What came in, how it is to be tested, and where its specimens were cut."""

from apps.intake.models.announced import Announcement
from apps.intake.models.cutting import CutPlan, Spot
from apps.intake.models.photos import ChosenPhoto, Photo
from apps.intake.models.review import ContractReview
from apps.intake.models.rows import (
    BelongsToJob,
    Deviation,
    Job,
    JobSerial,
    Request,
    Sample,
    SamplePlace,
    SendBack,
    Specimen,
)

__all__ = [
    "Announcement",
    "BelongsToJob",
    "ChosenPhoto",
    "ContractReview",
    "CutPlan",
    "Deviation",
    "Job",
    "JobSerial",
    "Photo",
    "Request",
    "Sample",
    "SamplePlace",
    "SendBack",
    "Specimen",
    "Spot",
]
