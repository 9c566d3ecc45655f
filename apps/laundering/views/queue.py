"""What waits for a wash, and the loads in hand."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Lab, Role
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.core.tablet import tablet
from apps.intake.models import SendBack
from apps.intake.queries import waiting_send_backs
from apps.laundering import queries, services
from apps.laundering.forms import AnswerForm, MakeUpForm
from apps.laundering.offers import with_offers
from apps.laundering.pages import WRITERS
from apps.laundering.queries import Pace
from apps.laundering.views.posted import moment, numbers

GROUPS, PIECES = 10, 50


@require_safe
@role_required(*STAFF_ROLES)
def queue(request: HttpRequest) -> HttpResponse:
    """What is in hand and what waits; with ?group= the pieces of one group, those in ?tick= ticked already."""
    return queue_page(request, MakeUpForm(manager=request.user.manager), numbers(request.GET.getlist("tick")))


@get_or_post
@role_required(Role.LAUNDRY, Role.MANAGER)
def make_up(request: HttpRequest) -> HttpResponse:
    """A proposal, the ticked pieces, or all that the group showed, become a load."""
    if request.method != "POST":
        return redirect("laundering:queue")
    form = MakeUpForm(request.POST, manager=request.user.manager)
    chosen = numbers(request.POST.getlist("shown" if "all" in request.POST else "specimen"))
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            load = services.make_up_load(specimen_ids=chosen, **form.written, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Load {load.pk} is made up. Weigh it, check the water, then start the wash.")
            return redirect("laundering:load", load.pk)
    return queue_page(request, form, chosen)


def queue_page(request: HttpRequest, form: MakeUpForm, chosen: Collection[int] = ()) -> HttpResponse:
    """The overview, or one group of it whole (?group=). A refused make-up comes back on its group's page, ticked."""
    lab, now, user = the_lab(), clock.now(), request.user
    pieces = queries.waiting(user, lab)
    groups = queries.groups(user, lab, timezone.localdate(now))
    wanted = request.GET.get("group") or (request.POST.get("group") if form.is_bound else None)
    only = next((group for group in groups if str(group.key) == wanted), None)
    context: dict[str, Any] = {"in_hand": [], "unload_now": [], "send_backs": []}
    if only:
        page = Paginator(queries.of_group(pieces, only.key, chosen), PIECES).get_page(request.GET.get("page"))
        elsewhere = queries.chosen_elsewhere(pieces, page, chosen) if form.is_bound else ()
        only.pieces, groups = [*page, *elsewhere], [only]
    else:
        page = Paginator(groups, GROUPS).get_page(request.GET.get("page"))
        groups = queries.with_proposals(pieces, list(page))
        context |= _in_hand(request, lab, now)
    context |= {
        "kept": queries.to_be_judged(user),
        "void_loads": queries.void_loads(user),
        "tablet": tablet(request),
        "groups": with_offers(groups),
        "only": only,
        "page": page,
        "form": form,
        "chosen": set(chosen),
        "may_write": bool(user.roles & WRITERS),
    }
    return render(request, "laundering/queue.html", context, status=422 if form.is_bound else 200)


def _in_hand(request: HttpRequest, lab: Lab, now: datetime) -> dict[str, Any]:
    """What is under way, and what the manager sent back."""
    in_hand = queries.in_hand(request.user, Pace.of(lab, now))
    sent_back = waiting_send_backs(user=request.user, to=SendBack.To.LAUNDRY)
    return {
        "send_backs": [(row, AnswerForm(auto_id=f"id_{row.pk}_%s")) for row in sent_back],
        "unload_now": [one for one in in_hand if one.is_over],
        "in_hand": [one for one in in_hand if not one.is_over],
        "lab_minutes": (lab.wash_minutes, lab.tumble_minutes, lab.air_dry_hours),
    }
