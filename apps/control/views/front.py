from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES


@require_safe
@role_required(*STAFF_ROLES)
def overview(request: HttpRequest) -> HttpResponse:
    """Is the lab itself in order: what there is to look at."""
    return render(request, "control/front.html")
