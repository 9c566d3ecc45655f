from functools import partial

from django.contrib import messages
from django.core import signing
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.equipment import services
from apps.equipment.forms import ImportForm, StoreForm
from apps.equipment.models import AtmosphereImport, Equipment
from apps.equipment.queries.imports import dry_run, imports_of
from apps.equipment.queries.machines import air_instruments
from apps.equipment.views.air import room_or_404
from apps.equipment.views.common import void_page

# The file that was looked at comes back with the second form, packed and signed: the house keeps nothing of a dry run.
SALT = "a logger's file that was looked at"
MOST_PACKED = 4_500_000
SHOWN = 100  # problems


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def import_file(request: HttpRequest, room_id: int) -> HttpResponse:
    """A file is looked at; nothing is stored yet."""
    room = room_or_404(room_id)
    last = imports_of(room).first()
    form = ImportForm(
        request.POST if request.method == "POST" else None,
        request.FILES if request.method == "POST" else None,
        instruments=air_instruments(timezone.localdate(clock.now())),
        initial={"instrument": last.instrument_id} if last else {},
    )
    context: dict = {}
    if form.is_valid():
        upload = form.cleaned_data["file"]
        content = upload.read()
        found = dry_run(room, content, form.how, clock.now())
        packed = pack(room, upload.name, content) if found.may_be_stored else ""
        if len(packed) > MOST_PACKED:
            form.add_error("file", "Too much in one file. Split it, or leave out the columns that are not needed.")
        else:
            context = {"found": found, "problems": found.sheet.problems[:SHOWN], "file_name": upload.name}
            context["store_form"] = store_form({**form.data.dict(), "packed": packed}, as_initial=True)
    return import_page(request, room, form, **context)


@require_POST
@role_required(Role.BENCH, Role.MANAGER)
def store(request: HttpRequest, room_id: int) -> HttpResponse:
    """What was looked at is taken in, whole."""
    room = room_or_404(room_id)
    form = store_form(request.POST)
    if form.is_valid():
        try:
            name, content = unpack(room, form.cleaned_data["packed"])
            instrument = form.cleaned_data["instrument"]
            batch = services.import_atmosphere(
                room_id=room.pk,
                content=content,
                file_name=name,
                how=form.how,
                instrument_id=instrument.pk if instrument else None,
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            messages.error(request, str(refusal))
        else:
            messages.success(request, f"{batch.stored} readings of {batch.file_name} are stored.")
            last = timezone.localdate(batch.last_at).isoformat()
            return redirect(f"{reverse('equipment:atmosphere', args=[room.pk])}?view=week&on={last}")
    else:
        messages.error(request, "That was not the page of a file that was looked at. Choose the file again.")
    return redirect("equipment:import", room.pk)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def void_import(request: HttpRequest, import_id: int) -> HttpResponse:
    batch = get_object_or_404(AtmosphereImport.objects.select_related("room"), pk=import_id)
    return void_page(
        request,
        act=partial(services.void_import, import_id=batch.pk),
        what=f"The file {batch.file_name}",
        effect=f"Its {batch.stored} readings count no more and stay in the book; their moments may be read anew.",
        back=reverse("equipment:import", args=[batch.room_id]),
        crumb=f"Files of {batch.room}",
    )


def import_page(request: HttpRequest, room: Equipment, form: ImportForm, **context: object) -> HttpResponse:
    page = Paginator(imports_of(room), 50).get_page(request.GET.get("page"))
    return render(request, "equipment/import.html", {"room": room, "form": form, "page": page, **context})


def store_form(data: dict, *, as_initial: bool = False) -> StoreForm:
    instruments = air_instruments(timezone.localdate(clock.now()))
    if as_initial:
        return StoreForm(instruments=instruments, initial=data)
    return StoreForm(data, instruments=instruments)


def pack(room: Equipment, name: str, content: bytes) -> str:
    what = {"room": room.pk, "name": name, "content": content.decode("latin-1")}
    return signing.dumps(what, salt=SALT, compress=True)


def unpack(room: Equipment, packed: str) -> tuple[str, bytes]:
    try:
        what = signing.loads(packed, salt=SALT)
    except signing.BadSignature:
        what = {}
    if what.get("room") != room.pk:
        raise Refusal("That was not the page of a file that was looked at. Choose the file again.", code="not_packed")
    return what["name"], what["content"].encode("latin-1")
