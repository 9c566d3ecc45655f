"""The public page: is this a report of ours, unchanged, and does it still stand?"""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache

from apps.accounts import services as accounts
from apps.accounts.gates import open_to_all
from apps.core import clock
from apps.core.addresses import client_address
from apps.core.posting import get_or_post
from apps.reporting import queries
from apps.reporting.forms import CodeForm, FileForm
from apps.reporting.views.common import NOT_SAVED

# For each address that asks: enough for a person, too few for a machine that guesses.
QUESTIONS, WITHIN = 40, timedelta(minutes=10)
TOO_MANY = 429


def too_many(request: HttpRequest) -> bool:
    name = f"verify:{client_address(request)}"
    return accounts.asked_too_often(name=name, most=QUESTIONS, within=WITHIN, at=clock.now())


@open_to_all
@never_cache
@get_or_post
def verify(request: HttpRequest) -> HttpResponse:
    asked = bool(request.GET.get("number") or request.GET.get("code"))
    by_code = CodeForm(request.GET if asked else None, auto_id="code-%s")
    by_file = FileForm(request.POST, request.FILES) if request.method == "POST" else FileForm()
    form = by_file if request.method == "POST" else by_code
    context = {"by_code": by_code, "by_file": by_file, "answer": None}
    if not form.is_bound:
        return render(request, "reporting/verify.html", context)
    if too_many(request):
        return render(request, "reporting/verify.html", {**context, "too_many": True}, status=TOO_MANY)
    if not form.is_valid():
        return render(request, "reporting/verify.html", context, status=NOT_SAVED)
    if form is by_file:
        context["answer"] = queries.by_file(form.cleaned_data["file"].read())
    else:
        context["answer"] = queries.by_code(**form.cleaned_data)
    return render(request, "reporting/verify.html", context)
