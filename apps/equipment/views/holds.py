from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted, posted_key
from apps.equipment import services
from apps.equipment.forms import ReleaseForm
from apps.equipment.models import Hold


@get_or_post
@role_required(Role.MANAGER)
def release(request: HttpRequest, hold_id: int) -> HttpResponse:
    """Why results of what ran on a held machine may go out."""
    hold = get_object_or_404(Hold.objects.select_related("equipment", "by"), pk=hold_id)
    form = ReleaseForm(posted(request))
    if form.is_valid():
        try:
            services.release_hold(
                hold_id=hold.pk,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Results of what ran on {hold.equipment} may go out again.")
            return redirect("equipment:page", hold.equipment_id)
    return render(request, "equipment/release.html", {"hold": hold, "form": form})
