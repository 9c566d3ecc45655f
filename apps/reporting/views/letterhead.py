"""The logo in the letterhead."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from apps.accounts import services as accounts
from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.posting import get_or_post, posted_key
from apps.reporting.forms import LogoForm
from apps.reporting.views.common import NOT_SAVED, carried_out


@get_or_post
@role_required(Role.MANAGER)
def logo(request: HttpRequest) -> HttpResponse:
    form = LogoForm(request.POST, request.FILES) if request.method == "POST" else LogoForm()
    said = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: accounts.set_logo(content=form.content(), **said)):
        messages.success(request, "Reports issued from now on carry this letterhead.")
        return redirect("reporting:logo")
    return render(request, "reporting/logo.html", {"form": form}, status=NOT_SAVED if form.is_bound else 200)


@require_safe
@role_required(*STAFF_ROLES)
def picture(request: HttpRequest) -> HttpResponse:
    found = the_lab().logo
    if found is None:
        raise Http404("There is no logo.")
    return HttpResponse(bytes(found.content), content_type="image/png")
