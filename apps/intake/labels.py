"""What stands on the labels of samples and specimens. No customer's name: they lie open at the bench."""

from django.utils import timezone

from apps.core.labels import Label
from apps.intake.models import Sample, Specimen
from apps.intake.queries import label_code


def sample_label(sample: Sample) -> Label:
    received = f"received {timezone.localtime(sample.job.received_at):%d %b %Y}"
    what = f"{sample.get_kind_display()}, {sample.get_construction_display()}"
    return Label(label_code(sample.code), sample.letter, (label_code(sample.code), sample.description, what, received))


def specimen_label(specimen: Specimen) -> Label:
    """Fabric carries an arrow: the label is put on so that its text runs along the length."""
    request = specimen.request
    how = f"{request.cycles} cycle{'s' if request.cycles > 1 else ''}, {request.procedure}"
    code = label_code(specimen.code)
    lines = (code, str(request.method), how, str(request.drying))
    return Label(code, specimen.short_code, lines, arrow=request.sample.kind == Sample.Kind.FABRIC)
