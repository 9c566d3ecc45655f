"""The receiving page as one sheet: a job, its samples, the ways of testing of each. Works by plain posts.

Fields are named job-*, s<n>-* and s<n>-r<m>-*; hidden fields `sample` and `s<n>-request` say which there are.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django import forms
from django.forms.utils import ErrorDict
from django.http import QueryDict

from apps.accounts.models import Lab
from apps.core.errors import Refusal
from apps.intake.columns import sample_letter
from apps.intake.forms.job import JobForm
from apps.intake.forms.request import REQUEST_COLUMNS, RequestForm, typed_request
from apps.intake.forms.sample import SampleForm
from apps.intake.forms.shown import values_of
from apps.intake.models import Job
from apps.intake.queries import Catalogue, Way, latest, way_to_finish
from apps.intake.services import JobDetails, RequestDetails, SampleDetails

# A page holds so many fields at most; the server takes no more than DATA_UPLOAD_MAX_NUMBER_FIELDS (5000) in one post.
MOST_FIELDS, FIELDS_OF_SAMPLE, FIELDS_OF_REQUEST = 4500, 20, 24
MOST_SAMPLES, MOST_REQUESTS = 100, 20
FULL = "This page is full. Receive these first, then add the others to the job."
RECEIVE = "receive"


@dataclass
class Asked:
    number: int
    form: RequestForm


@dataclass
class Block:
    """One sample on the sheet with its ways of testing."""

    number: int
    letter: str
    form: SampleForm
    ways: list[Asked]

    @property
    def next_way(self) -> int:
        return max((way.number for way in self.ways), default=-1) + 1


class Sheet:
    def __init__(
        self,
        data: QueryDict | None,
        *,
        catalogue: Catalogue,
        lab: Lab,
        now: datetime,
        job: Job | None = None,
    ) -> None:
        """`job`: one more sample for this job, instead of a job that comes in."""
        self.catalogue, self.lab, self.now, self.of_job = catalogue, lab, now, job
        self.before = list(job.samples.all()) if job else []
        self.most_samples = 1 if job else MOST_SAMPLES
        self.trouble: list[str] = []
        self.data = data.copy() if data is not None else None
        self.asked = RECEIVE if data is None else data.get("do", RECEIVE)
        self.numbers = self._numbers()
        if self.data is not None and self.asked != RECEIVE:
            self._act()
        self.job = JobForm(self.data, now=now) if job is None else None
        self.blocks = [self._block(place, number) for place, number in enumerate(self.numbers)]
        self.ways: list[Way] = []
        self.earliest: date | None = None
        if self.data is not None:
            self._read()

    # Which samples and ways there are

    def _numbers(self) -> dict[int, list[int]]:
        if self.data is None:
            return {0: list(range(len(self._like()) or 1))}
        found = {
            number: self._listed(f"s{number}-request", MOST_REQUESTS)
            for number in self._listed("sample", self.most_samples)
        }
        if not found:
            self.trouble.append("A job has at least one sample. Add what came in.")
        return found

    def _listed(self, name: str, most: int) -> list[int]:
        texts = [text for text in self.data.getlist(name) if text.isascii() and text.isdigit() and len(text) < 5]
        return list(dict.fromkeys(int(text) for text in texts))[:most]

    def _like(self) -> list[dict[str, Any]]:
        """How the newest sample of the job is tested: one more sample begins with the same."""
        newest = self.before[-1].requests.all() if self.before and self.data is None else []
        return [
            {
                **typed_request(values_of(request, REQUEST_COLUMNS)),
                "can_do": request.contract_review.can_do,
                "agreed": request.contract_review.agreed,
            }
            for request in newest
        ]

    def _block(self, place: int, number: int) -> Block:
        prefix, like = f"s{number}", dict(enumerate(self._like()))
        ways = [
            Asked(
                way,
                RequestForm(self.data, prefix=f"{prefix}-r{way}", catalogue=self.catalogue, initial=like.get(way)),
            )
            for way in self.numbers[number]
        ]
        letter = sample_letter(len(self.before) + place)
        initial = {"kind": self.before[-1].kind} if self.before else None
        return Block(number, letter, SampleForm(self.data, prefix=prefix, initial=initial), ways)

    # The buttons that add and take away

    def _act(self) -> None:
        verb, _, rest = self.asked.partition(":")
        numbers = [int(part) for part in rest.split(":") if part.isascii() and part.isdigit() and len(part) < 5]
        if verb == "add-sample":
            self._add_sample()
        elif verb == "add-way" and len(numbers) == 1 and numbers[0] in self.numbers:
            self._add_way(numbers[0])
        elif verb == "remove" and numbers and numbers[0] in self.numbers:
            self._remove(*numbers[:2])

    def _room(self, *, samples: int, ways: int) -> bool:
        used = FIELDS_OF_SAMPLE * (samples + len(self.numbers))
        used += FIELDS_OF_REQUEST * (ways + sum(len(ways) for ways in self.numbers.values()))
        if used <= MOST_FIELDS and samples + len(self.numbers) <= self.most_samples:
            return True
        self.trouble.append(FULL)
        return False

    def _add_sample(self) -> None:
        """A new sample begins with the ways of testing of the one before it; whether there is cloth is asked anew."""
        before = list(self.numbers)[-1] if self.numbers else None
        ways = list(self.numbers[before]) if before is not None else [0]
        if not self._room(samples=1, ways=len(ways)):
            return
        number = max(self.numbers, default=-1) + 1
        self.numbers[number] = ways
        self._begin(SampleForm, f"s{number}")
        for way in ways:
            if before is None:
                self._begin(RequestForm, f"s{number}-r{way}")
            else:
                self._copy(f"s{before}-r{way}-", f"s{number}-r{way}-", leave={"enough_cloth", "limits_as_typed"})
        if before is not None:
            self.data[f"s{number}-kind"] = self.data.get(f"s{before}-kind", "")
            self.data[f"s{number}-unit"] = self.data.get(f"s{before}-unit", "cm")

    def _add_way(self, number: int) -> None:
        if len(self.numbers[number]) < MOST_REQUESTS and self._room(samples=0, ways=1):
            way = max(self.numbers[number], default=-1) + 1
            self.numbers[number].append(way)
            self._begin(RequestForm, f"s{number}-r{way}")

    def _remove(self, number: int, way: int | None = None) -> None:
        if way is None:
            if len(self.numbers) > 1:
                del self.numbers[number]
        elif len(self.numbers[number]) > 1 and way in self.numbers[number]:
            self.numbers[number].remove(way)

    def _begin(self, form: type[forms.Form], prefix: str) -> None:
        for name, field in form.base_fields.items():
            self.data[f"{prefix}-{name}"] = field.initial or ""

    def _copy(self, source: str, target: str, *, leave: set[str]) -> None:
        for name in RequestForm.base_fields:
            if name not in leave and source + name in self.data:
                self.data.setlist(target + name, self.data.getlist(source + name))

    # Reading it

    def forms(self) -> Iterator[tuple[str, forms.Form]]:
        if self.job is not None:
            yield "Job", self.job
        for block in self.blocks:
            yield f"Sample {block.letter}", block.form
            for place, way in enumerate(block.ways, start=1):
                yield f"Sample {block.letter}, way {place}", way.form

    def _read(self) -> None:
        """Read all there is. What is not yet to be received is shown again without being found fault with."""
        for block in self.blocks:
            block.form.full_clean()
            for way in block.ways:
                way.form.kind = block.form.cleaned_data.get("kind", "")
                way.form.full_clean()
        self._reckon()
        if self.job is not None:
            self.job.full_clean()
            self.job.check_promise(self.earliest)
        if self.asked != RECEIVE:
            for _, form in self.forms():
                form._errors = ErrorDict()

    def _reckon(self) -> None:
        for block in self.blocks:
            for place, way in enumerate(block.ways, start=1):
                data = way.form.cleaned_data
                if way.form.has_error("cycles") or way.form.has_error("measured_after") or not data.get("drying"):
                    continue
                self.ways.append(
                    way_to_finish(
                        lab=self.lab,
                        start=self.now,
                        label=f"Sample {block.letter}, way {place}",
                        fibre=block.form.cleaned_data.get("fibre", ""),
                        drying=data["drying"],
                        cycles=data["cycles"],
                        measured_after=data["measured_after"],
                    )
                )
        self.earliest = latest(self.ways)

    def is_complete(self) -> bool:
        """Whether it was sent to be received, and says all that is needed."""
        if self.data is None or self.asked != RECEIVE or self.trouble:
            return False
        for block in self.blocks:
            if not block.ways:
                self.trouble.append(f"Sample {block.letter}: say how it is to be tested.")
        return not self.trouble and all(form.is_valid() for _, form in self.forms())

    def job_details(self) -> JobDetails:
        return self.job.details()

    def samples(self) -> list[SampleDetails]:
        return [block.form.details(tuple(self._ways_of(block))) for block in self.blocks]

    def _ways_of(self, block: Block) -> Iterator[RequestDetails]:
        return (way.form.details() for way in block.ways)

    def refuse(self, refusal: Refusal) -> None:
        """A sentence of the service, beside its field where that is on the job."""
        if self.job is not None and refusal.field in self.job.fields:
            self.job.add_error(refusal.field, str(refusal))
        else:
            self.trouble.append(str(refusal))

    # Showing it

    @property
    def is_bound(self) -> bool:
        return self.data is not None

    @property
    def next_number(self) -> int:
        return max(self.numbers, default=-1) + 1

    def problems(self) -> list[tuple[str, str]]:
        """(address of the field, sentence), in the order of the page."""
        found = [("", sentence) for sentence in self.trouble]
        for name, form in self.forms():
            found += [("", f"{name}: {error}") for error in form.non_field_errors()]
            for field in form:
                place = f"div_{field.auto_id}" if field.use_fieldset else field.id_for_label
                found += [(f"#{place}", f"{name}, {field.label}: {error}") for error in field.errors]
        return found
