"""What waits for a wash, and the loads in hand."""

from collections.abc import Collection

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Lab, Role
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.tablet import tablet
from apps.intake.models import SendBack
from apps.intake.queries import waiting_send_backs
from apps.laundering import queries, services
from apps.laundering.forms import AnswerForm, MakeUpForm
from apps.laundering.pages import WRITERS
from apps.laundering.queries import Pace
from apps.laundering.views.posted import moment, numbers, posted_key

GROUPS, PIECES = 10, 50


@require_safe
@role_required(*STAFF_ROLES)
def queue(request: HttpRequest) -> HttpResponse:
    """What waits; pieces that were scanned (?tick=) are ticked."""
    return queue_page(request, MakeUpForm(), numbers(request.GET.getlist("tick")))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.LAUNDRY, Role.MANAGER)
def make_up(request: HttpRequest) -> HttpResponse:
    """The ticked pieces, or all that the group showed, become a load."""
    if request.method != "POST":
        return redirect("laundering:queue")
    form = MakeUpForm(request.POST)
    chosen = numbers(request.POST.getlist("shown" if "all" in request.POST else "specimen"))
    if form.is_valid():
        try:
            load = services.make_up_load(
                specimen_ids=chosen,
                deviation=form.cleaned_data["deviation"],
                by=request.user,
                at=moment(request, form),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Load {load.pk} is made up. Weigh it, check the water, then start the wash.")
            return redirect("laundering:load", load.pk)
    return queue_page(request, form, chosen)


def queue_page(request: HttpRequest, form: MakeUpForm, chosen: Collection[int] = ()) -> HttpResponse:
    """The queue, or one group of it whole (?group=), with the form that came back in the group it came from."""
    lab, now = the_lab(), clock.now()
    in_hand = queries.in_hand(request.user, Pace.of(lab, now))
    pieces = queries.waiting(request.user, lab)
    groups = queries.groups(pieces, timezone.localdate(now))
    only = next((group for group in groups if str(group.key) == request.GET.get("group")), None)
    if only:
        page = Paginator(queries.of_group(pieces, only.key, chosen), PIECES).get_page(request.GET.get("page"))
        only.pieces, groups = list(page), [only]
    else:
        page = Paginator(groups, GROUPS).get_page(request.GET.get("page"))
        groups = queries.with_first_pieces(pieces, list(page))
    came_from = request.POST.get("group") if form.is_bound else None
    context = {
        "send_backs": [
            (row, AnswerForm(auto_id=f"id_{row.pk}_%s"))
            for row in waiting_send_backs(user=request.user, to=SendBack.To.LAUNDRY)
        ],
        "unload_now": [one for one in in_hand if one.is_over],
        "in_hand": [one for one in in_hand if not one.is_over],
        "lab_minutes": (lab.wash_minutes, lab.tumble_minutes, lab.air_dry_hours),
        "kept": queries.to_be_judged(request.user),
        "tablet": tablet(request),
        "groups": groups,
        "only": only,
        "page": page,
        "form": form,
        "came_from": came_from if any(str(group.key) == came_from for group in groups) else None,
        "chosen": set(chosen),
        "together": lab.mix_rule == Lab.MixRule.WARN,
        "may_write": bool(request.user.roles & WRITERS),
    }
    return render(request, "laundering/queue.html", context, status=422 if form.is_bound else 200)
