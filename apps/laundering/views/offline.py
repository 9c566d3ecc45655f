"""For tablets with poor Wi-Fi: the worker that keeps the pages last seen, and what was tapped too late to fit."""

from pathlib import Path

from django.contrib import messages
from django.contrib.staticfiles import finders
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from apps.accounts.gates import open_to_all, role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.core.tablet import tablet
from apps.laundering import queries, services
from apps.laundering.forms import JudgeKeptForm
from apps.laundering.models import KeptTap

PER_PAGE = 50


@open_to_all
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Its address decides what it may look after: the laundry's pages and nothing above them."""
    script = Path(finders.find("laundry-worker.js")).read_bytes()
    headers = {"Service-Worker-Allowed": reverse("laundering:queue"), "Cache-Control": "no-cache"}
    return HttpResponse(script, content_type="text/javascript; charset=utf-8", headers=headers)


@require_safe
@role_required(Role.LAUNDRY, Role.MANAGER)
def kept(request: HttpRequest) -> HttpResponse:
    return kept_page(request)


@get_or_post
@role_required(Role.MANAGER)
def judge(request: HttpRequest, kept_id: int) -> HttpResponse:
    row = get_object_or_404(KeptTap.objects.visible_to(request.user), pk=kept_id)
    if request.method != "POST":
        return redirect("laundering:kept")
    form = JudgeKeptForm(request.POST, auto_id=f"id_{row.pk}_%s")
    if form.is_valid():
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        try:
            services.judge_kept(kept_id=row.pk, judgement=form.cleaned_data["judgement"], **who)
        except Refusal as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(request, f"Judged: {row.what}.")
        return redirect("laundering:kept")
    return kept_page(request, row, form)


def kept_page(request: HttpRequest, judged: KeptTap | None = None, form: JudgeKeptForm | None = None) -> HttpResponse:
    """All that was kept; each still to be judged with its form. `form` is the one that came back with errors."""
    page = Paginator(queries.kept_taps(request.user), PER_PAGE).get_page(request.GET.get("page"))
    rows = [(row, form if judged and row.pk == judged.pk else JudgeKeptForm(auto_id=f"id_{row.pk}_%s")) for row in page]
    context = {
        "page": page,
        "rows": rows,
        "may_judge": Role.MANAGER in request.user.roles,
        "tablet": tablet(request),
    }
    return render(request, "laundering/kept.html", context, status=422 if form else 200)
