"""The customer's side of what comes in: announcing a parcel, and calling it off."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted, posted_key
from apps.intake import queries, services
from apps.intake.forms import Announce
from apps.intake.models import Announcement
from apps.intake.views.acting import NOT_SAVED


@get_or_post
@role_required(Role.CUSTOMER)
def announce(request: HttpRequest) -> HttpResponse:
    page = Announce(posted(request), catalogue=queries.catalogue())
    if page.is_valid():
        try:
            services.announce(details=page.details(), by=request.user, at=clock.now(), key=posted_key(request))
        except Refusal as refusal:
            page.parcel.add_error(None, str(refusal))
        else:
            messages.success(request, "The laboratory knows what is coming. Send the cloth with your order's number.")
            return redirect("portal:jobs")
    context = {"page": page, "problems": page.problems()}
    return render(request, "intake/announce.html", context, status=NOT_SAVED if context["problems"] else 200)


@require_POST
@role_required(Role.CUSTOMER)
def withdraw(request: HttpRequest, announcement_id: int) -> HttpResponse:
    row = get_object_or_404(Announcement.objects.visible_to(request.user), pk=announcement_id)
    try:
        services.withdraw_announcement(announcement_id=row.pk, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"Called off: {row.what}.")
    return redirect("portal:jobs")
