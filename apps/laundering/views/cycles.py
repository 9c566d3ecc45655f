"""Ticking cycles off, one piece or a whole load, with or without script."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import posted_key
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.forms import WAITED, LateForm
from apps.laundering.models import CycleLog, LoadPiece
from apps.laundering.pages import Bound, load_context
from apps.laundering.views.loads import ACT, load_page, the_load
from apps.laundering.views.posted import moment, numbers, refuse


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def tick(request: HttpRequest, specimen_id: int) -> HttpResponse:
    """One piece is done. The button carries the cycle that the page showed."""
    specimen = get_object_or_404(Specimen.objects.visible_to(request.user), pk=specimen_id)
    piece = LoadPiece.objects.filter(specimen=specimen).order_by("-pk").first()
    if request.method != "POST" or piece is None:
        refuse(request, "This piece is in no load.")
        return redirect("laundering:queue")
    ordinal = numbers([request.POST.get("ordinal", "")])
    try:
        cycle = services.tick_cycle(
            specimen_id=specimen.pk,
            ordinal=min(ordinal[0], 32_000) if ordinal else 0,
            late_reason=WAITED if request.POST.get("tapped_at") else "",
            by=request.user,
            at=moment(request),
            key=posted_key(request),
        )
    except Refusal as refusal:
        messages.error(request, str(refusal))
        refuse(request, str(refusal))
        status = 422
    else:
        messages.success(request, told([cycle]))
        status = 200
    if not request.htmx:
        return redirect("laundering:load", piece.load_id)
    context = load_context(the_load(request, piece.load_id), request.user, clock.now(), Bound())
    row = next(row for row in context["whole"].rows if row.piece.pk == piece.pk)
    return render(request, "laundering/_ticked.html", {**context, "row": row, "oob": True}, status=status)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def tick_load(request: HttpRequest, number: int) -> HttpResponse:
    """All pieces that the page showed as dry, each with the cycle it showed."""
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = LateForm(request.POST, prefix="tick")
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            why = form.cleaned_data["late_reason"]
            cycles = services.tick_cycles(shown=shown(request.POST.getlist("piece")), late_reason=why, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, told(cycles))
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "tick", form)


def shown(texts: list[str]) -> dict[int, int]:
    """`12:3`: specimen 12 is shown with cycle 3."""
    pairs = [numbers(text.split(":")) for text in texts]
    return {pair[0]: min(pair[1], 32_000) for pair in pairs if len(pair) == 2}


def told(cycles: list[CycleLog]) -> str:
    """What was ticked off, and what is next for it."""
    due, again = [], []
    for cycle in cycles:
        specimen = cycle.specimen
        (due if specimen.stage == Specimen.Stage.OWED else again).append(f"{specimen.short_code} cycle {cycle.ordinal}")
    parts = [
        f"{', '.join(names)}{rest}" for names, rest in ((due, ": readings are due."), (again, ": ticked off.")) if names
    ]
    return " ".join(parts)
