import io

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.accounts.queries import the_lab
from apps.core.errors import Refusal
from apps.core.posting import get_or_post
from apps.sheets import pages, services, tokens
from apps.sheets.forms import UNPACKED, WORKBOOK_ROWS, SheetForm
from apps.sheets.wrong import WrongRows, short

NOT_DONE = 422
CSV, XLSX = "text/csv; charset=utf-8", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def sheets(request: HttpRequest) -> HttpResponse:
    """A measure sheet in, its results out: on the page, or at once as a file. What is wrong is told all together."""
    if request.method != "POST":
        return render(request, "sheets/sheets.html", {"form": SheetForm(tie=the_lab().tie)})
    form = SheetForm(request.POST, request.FILES, tie="")
    wrong = None
    if form.is_valid():
        try:
            return answer(request, form)
        except WrongRows as refusal:
            wrong = refusal
            form.put_beside(refusal)
        except Refusal as refusal:
            form.put_beside(refusal)
    context = {"form": form, "wrong": wrong, **pages.of_wrong(wrong)}
    return render(request, "sheets/sheets.html", context, status=NOT_DONE)


def answer(request: HttpRequest, form: SheetForm) -> HttpResponse:
    from apps.sheets.figures import Asked

    chosen, file = form.cleaned_data, form.cleaned_data["file"]
    asked = Asked.of(chosen["averaging"], chosen["tie"], chosen["step"])
    results = services.calculate(
        file=file.file,
        workbook=form.is_workbook(file),
        asked=asked,
        curve=chosen["give"] == "page",
        unpacked=UNPACKED,
        workbook_rows=WORKBOOK_ROWS,
    )
    if chosen["give"] != "page":
        return download(results, file.name, chosen["give"])
    return results_page(request, results, short(file.name, 100), tokens.pack(results, file.name[-200:]))


@require_POST
@role_required(Role.BENCH, Role.MANAGER)
def results(request: HttpRequest) -> HttpResponse:
    """Results that the page carried: another page of them, or all of them as a file."""
    token = request.POST.get("results", "")
    try:
        found, name = tokens.unpack(token)
    except Refusal as refusal:
        messages.error(request, str(refusal))
        return redirect("sheets:sheets")
    if request.POST.get("give") in ("csv", "xlsx"):
        return download(found, name, request.POST["give"])
    return results_page(request, found, short(name, 100), token)


def results_page(request: HttpRequest, results, name: str, token: str) -> HttpResponse:
    asked = results.asked
    form = SheetForm(tie=asked.tie, averaging=asked.averaging, step=f"{asked.step:f}")
    context = {"name": name, "token": token, "form": form}
    context |= pages.of_results(results, request.POST.get("page"))
    return render(request, "sheets/sheets.html", context)


def download(results, name: str, kind: str) -> HttpResponse:
    from apps.sheets import giving

    stem = name.rsplit(".", 1)[0][:100] or "sheet"
    if kind == "csv":
        text = io.StringIO(newline="")
        giving.write_csv(results, text)
        response = HttpResponse(text.getvalue().encode("utf-8-sig"), CSV)
    else:
        data = io.BytesIO()
        giving.write_workbook(results, data)
        response = HttpResponse(data.getvalue(), XLSX)
    response["Content-Disposition"] = content_disposition_header(True, f"{stem} results.{kind}")
    response["X-Content-Type-Options"] = "nosniff"
    return response
