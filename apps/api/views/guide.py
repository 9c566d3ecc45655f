"""The page for the people who write such programs."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.api.operations import BASE, OPERATIONS


@require_safe
@role_required(*Role)
def guide(request: HttpRequest) -> HttpResponse:
    mine = [operation for operation in OPERATIONS.values() if request.user.roles & operation.roles]
    base = f"{request.scheme}://{request.get_host()}{BASE}"
    may_send = any(operation.name == "send_readings" for operation in mine)
    return render(request, "api/guide.html", {"operations": mine, "base": base, "may_send": may_send})
