"""The label of a load."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES
from apps.accounts.queries import the_lab
from apps.core.label_form import LabelForm
from apps.core.labels import sheets
from apps.laundering.labels import load_label
from apps.laundering.views.loads import the_load


@require_safe
@role_required(*STAFF_ROLES)
def label(request: HttpRequest, number: int) -> HttpResponse:
    return render(request, "laundering/label.html", {"load": the_load(request, number), "form": LabelForm()})


@require_safe
@role_required(*STAFF_ROLES)
def label_pdf(request: HttpRequest, number: int) -> HttpResponse:
    load, form = the_load(request, number), LabelForm(request.GET)
    if not form.is_valid():
        return render(request, "laundering/label.html", {"load": load, "form": form}, status=422)
    labels = [load_label(load)] * form.cleaned_data["copies"]
    content = sheets(form.chosen, labels, start=form.cleaned_data["start"], is_demo=the_lab().is_demo)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(False, f"load-{load.pk}-label.pdf")
    return response
