"""What a scanned or typed code means: exactly, in short, or nearly."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from apps.accounts.models import User
from apps.calc.numbering import is_valid
from apps.intake.models import Job, Request, Sample, Specimen
from apps.laundering.models import Load
from apps.laundering.queries import load_code, load_numbers

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
LONGEST = 16  # letters and digits of the longest code there can be
MOST = 20
# 147, 147N, 26-147, 147-A, 26-00147N-A1: year and check character may be left out, zeros too.
SHORT = re.compile(r"(?:(\d{2})-)?0*([1-9]\d{0,4})([A-Z]?)(?:-([A-Z]{1,2})(\d{0,3}))?")
ON_THE_CLOTH = re.compile(r"[A-Z]{1,2}[1-9]\d{0,2}")


@dataclass(frozen=True)
class Found:
    """What a code or some words may mean."""

    kind: str
    label: str
    detail: str
    job: str
    code: str
    thing: Any = field(default=None, compare=False)

    @property
    def asked(self) -> dict[str, str]:
        """What to ask for to get just this, though other things may read alike."""
        return {"q": load_code(self.thing.pk) if self.kind == "load" else self.label, "kind": self.kind}


def bare(text: str) -> str:
    """Letters and digits of a code, capitals; what is no letter or digit of a code is left out."""
    return "".join(character for character in text.upper() if character.isascii() and character.isalnum())[:60]


def resolve_code(user: User, text: str) -> list[Found]:
    """Everything that a scanned or typed code names, a label's full code (with its check character) first.

    The same letters may be a sample's code with its check character and a specimen's code without one; then both are
    told and the person chooses. Only when nothing is named exactly, the short forms are tried.
    """
    code = bare(text)
    exact = _find_exact(user, code[:-1]) if is_valid(code) else []
    exact += [found for found in _find_exact(user, code) if found not in exact]
    return exact + _loads(user, load_numbers(code)) or _in_short(user, text)


def _find_exact(user: User, code: str) -> list[Found]:
    return _under(user, [code]) if 8 <= len(code) <= LONGEST else []


def dashed(code: str) -> str:
    """26-00147N-A1 of 2600147NA1."""
    return f"{code[:2]}-{code[2:8]}" + (f"-{code[8:]}" if len(code) > 8 else "")


def _under(user: User, codes: Iterable[str]) -> list[Found]:
    """Jobs, samples and specimens under these bare codes, as far as this person may see them."""
    jobs = [dashed(code) for code in codes if len(code) == 8]
    others = [dashed(code) for code in codes if len(code) > 8]
    found = []
    if jobs:
        rows = Job.objects.visible_to(user).filter(number__in=jobs).select_related("customer")
        found += [_job(row) for row in rows.order_by("number")[:MOST]]
    if others:
        found += [_specimen(row) for row in _specimens(user).filter(code__in=others).order_by("code")[:MOST]]
        samples = Sample.objects.visible_to(user).filter(code__in=others).select_related("job")
        found += [_sample(row) for row in samples.order_by("code")[:MOST]]
    return found


def _specimens(user: User) -> Any:
    return Specimen.objects.visible_to(user).select_related("request__sample__job", "request__method")


def _loads(user: User, numbers: list[int]) -> list[Found]:
    rows = Load.objects.visible_to(user).filter(pk__in=numbers).select_related("procedure") if numbers else []
    return [_load(row) for row in sorted(rows, key=lambda row: numbers.index(row.pk))]


def _in_short(user: User, text: str) -> list[Found]:
    """A job's serial with or without its year, check character, sample and specimen; or what stands on the cloth."""
    typed = re.sub(r"[\s-]+", "-", text.strip().upper())
    if ON_THE_CLOTH.fullmatch(typed):
        open_ones = _specimens(user).filter(code__endswith=f"-{typed}").exclude(request__lock=Request.Lock.LOCKED)
        return [_specimen(row) for row in open_ones.exclude(stage="set_aside").order_by("-pk")[:MOST]]
    match = SHORT.fullmatch(typed)
    if not match:
        return []
    year, serial, check, letter, number = match.groups()
    numbers = f"{year or ''}-{serial:0>5}"
    named = {"startswith" if year else "contains": numbers, **({"endswith": check} if check else {})}

    def of(path: str) -> Q:
        return Q(**{f"{path}number__{lookup}": value for lookup, value in named.items()})

    if number:
        rows = _specimens(user).filter(of("request__sample__job__"), code__endswith=f"-{letter}{number}")
        return [_specimen(row) for row in rows.order_by("-pk")[:MOST]]
    if letter:
        rows = Sample.objects.visible_to(user).filter(of("job__"), letter=letter).select_related("job")
        return [_sample(row) for row in rows.order_by("-pk")[:MOST]]
    rows = Job.objects.visible_to(user).filter(of("")).select_related("customer")
    return [_job(row) for row in rows.order_by("-number")[:MOST]]


def near(user: User, text: str) -> list[Found]:
    """What a mistyped code may have meant: codes that exist and differ in one character or one swap of neighbours.

    Those whose label's check character then fits come first: a label was typed wrongly more likely than cut short.
    """
    code = bare(text)
    if code.startswith("L"):
        numbers = [number for other in _neighbours(code) if is_valid(other) for number in load_numbers(other)[:1]]
        return _loads(user, numbers[:MOST])
    if not 8 <= len(code) <= LONGEST:
        return []
    likely = [other for other in _neighbours(code) if other[:7].isdigit() and is_valid(other[:8])]
    labels = _under(user, [other[:-1] for other in likely if len(other) > 9 and is_valid(other)])
    return labels + [found for found in _under(user, likely) if found not in labels]


def _neighbours(code: str) -> list[str]:
    swapped = [code[:n] + code[n + 1] + code[n] + code[n + 2 :] for n in range(len(code) - 1)]
    changed = [code[:n] + sign + code[n + 1 :] for n in range(len(code)) for sign in SIGNS]
    return [other for other in dict.fromkeys(swapped + changed) if other != code]


def slip(text: str) -> str:
    """What is wrong with a code that names nothing: its check character tells a slip of the finger from a wrong book.

    Nothing for words, which are no code.
    """
    code = bare(text)
    if re.fullmatch(r"L(?:OAD)?\d+[0-9A-Z]?", code):
        return "There is no load of this code: it is written wrongly, or of another lab."
    if len(code) < 8 or sum(character.isdigit() for character in code[:7]) < 6:
        return ""
    if not code[:7].isdigit() or not is_valid(code[:8]):
        return f"{dashed(code[:8])} is not a job's number: its check character does not fit."
    if len(code) == 8 or is_valid(code):
        return "The code is written correctly, but this lab's book has nothing under it."
    return f"{dashed(code)} is no code of this lab: the job's number is right, what follows it is not."


def search(user: User, text: str, limit: int = MOST) -> list[Found]:
    """Jobs and samples by parts: number, customer, purchase order, description."""
    words = text.split()[:6]
    if not words:
        return []
    jobs, samples = Job.objects.visible_to(user).select_related("customer"), Sample.objects.visible_to(user)
    for word in words:
        jobs = jobs.filter(
            Q(number__icontains=word) | Q(customer__name__icontains=word) | Q(purchase_order__icontains=word)
        )
        samples = samples.filter(Q(code__icontains=word) | Q(description__icontains=word) | Q(colour__icontains=word))
    return [_job(job) for job in jobs[:limit]] + [_sample(row) for row in samples.select_related("job")[:limit]]


def _job(job: Job) -> Found:
    return Found("job", job.number, job.customer.name, job.number, job.number, job)


def _sample(sample: Sample) -> Found:
    return Found("sample", sample.code, sample.description, sample.job.number, sample.code, sample)


def _specimen(specimen: Specimen) -> Found:
    sample = specimen.request.sample
    return Found("specimen", specimen.code, specimen.standing, sample.job.number, sample.code, specimen)


def _load(load: Load) -> Found:
    return Found("load", f"Load {load.pk}", f"{load.procedure}, {load.get_state_display()}", "", str(load.pk), load)
