from datetime import timedelta

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.core.paginator import Paginator
from django.forms import Form, ModelForm
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from apps.accounts import kept, queries, services
from apps.accounts.context import address
from apps.accounts.forms import (
    CustomerForm,
    ForgottenForm,
    LabForm,
    NewPasswordForm,
    NewPersonForm,
    OwnPasswordForm,
    PersonForm,
    SignInForm,
    TokenForm,
)
from apps.accounts.gates import open_to_all, role_required
from apps.accounts.models import Customer, Lab, Role, Token, User
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.posting import get_or_post, posted, posted_key

PER_PAGE = 50


def _refuse(form: Form | ModelForm, refusal: Refusal) -> None:
    form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))


def _shown(request: HttpRequest, row: User | Customer | Lab) -> str | None:
    """The mark of what the page showed: of a form that was sent as it says, else of the row as it is."""
    return request.POST.get("shown") if request.method == "POST" else services.seen(row)


def _page(request: HttpRequest, rows):
    return Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))


# Signing in and out


def _landing(request: HttpRequest) -> str:
    """The address that was asked for, when it is one of ours. An address, not a name: `redirect` would look it up."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    if url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure()):
        return wanted
    try:
        return reverse(settings.LOGIN_REDIRECT_URL)
    except NoReverseMatch:
        return reverse("accounts:password")


@open_to_all
@sensitive_post_parameters()
@never_cache
@get_or_post
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return HttpResponseRedirect(_landing(request))
    form = SignInForm(request, posted(request))
    if request.method == "POST":
        if form.is_valid():
            login(request, form.user)
            services.record_sign_in(by=form.user, at=clock.now())
            return HttpResponseRedirect(_landing(request))
        if form.has_error("__all__", "no_match"):
            services.record_failed_sign_in(username=form.cleaned_data["username"], at=clock.now())
    return render(request, "accounts/sign_in.html", {"form": form, "next": request.GET.get("next", "")})


def locked_out(request: HttpRequest, *args, **kwargs) -> HttpResponse:
    """Too many wrong passwords for this name from here: told plainly, whether or not anybody has the name."""
    form = SignInForm(request, {"username": request.POST.get("username", "")})
    form.errors.clear()
    form.add_error(
        None,
        "Too many wrong passwords. Wait a quarter of an hour, or choose a new password by letter; a lab manager can "
        "give you one at once.",
    )
    context = {"form": form, "next": request.POST.get("next", "")}
    return render(request, "accounts/sign_in.html", context, status=429)


@open_to_all
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    response = redirect("accounts:sign_in")
    response["Clear-Site-Data"] = '"cache"'  # the next person at this screen does not go back to what was shown
    return response


@role_required(*Role)
@never_cache
@get_or_post
def kept_form(request: HttpRequest) -> HttpResponse:
    """What was typed when the session had ended: shown once, to be sent on or thrown away by who is in now."""
    found = kept.kept(request)
    if request.method == "POST" or found is None:
        kept.let_go(request)
        return HttpResponseRedirect(_landing(request))
    path, fields = found
    shown = [(name, value) for name, value in fields if value.strip() and name not in ("key", "shown")]
    return render(request, "accounts/kept.html", {"path": path, "fields": fields, "shown": shown})


@role_required(*Role)
@sensitive_post_parameters()
@get_or_post
def password(request: HttpRequest) -> HttpResponse:
    form = OwnPasswordForm(request.user, posted(request), tokens=queries.standing_tokens(request.user))
    if form.is_valid():
        try:
            user = services.set_password(person_id=request.user.pk, **form.chosen, by=request.user, at=clock.now())
        except Refusal as refusal:
            _refuse(form, refusal)
        else:
            update_session_auth_hash(request, user)
            messages.success(request, "Your new password holds from now on.")
            return redirect("accounts:password")
    return render(request, "accounts/password.html", {"form": form})


@open_to_all
@get_or_post
def forgotten(request: HttpRequest) -> HttpResponse:
    """The answer is the same whether anybody has this name."""
    form = ForgottenForm(posted(request))
    if form.is_valid():
        services.ask_for_link(name=form.cleaned_data["name"], at=clock.now())
        return render(request, "accounts/letter_sent.html")
    return render(request, "accounts/forgotten.html", {"form": form})


@open_to_all
@sensitive_post_parameters()
@never_cache
@get_or_post
def choose_password(request: HttpRequest, name: str, token: str) -> HttpResponse:
    person = services.person_of_link(name, token)
    form = NewPasswordForm(posted(request), tokens=queries.standing_tokens(person) if person else [])
    if person is not None and form.is_valid():
        try:
            user = services.choose_password(name=name, token=token, **form.chosen, at=clock.now())
        except Refusal as refusal:
            _refuse(form, refusal)
        else:
            logout(request)  # whoever was signed in at this screen
            messages.success(request, f"Your password is set. Sign in as {user.username}.")
            return redirect("accounts:sign_in")
    status = 410 if person is None else 200
    return render(request, "accounts/choose_password.html", {"form": form, "person": person}, status=status)


# Tokens


@role_required(*Role)
@get_or_post
def tokens(request: HttpRequest) -> HttpResponse:
    """One's own tokens. A new one is told in the answer to the form itself, so that its text is kept nowhere."""
    now = clock.now()
    form, told = TokenForm(posted(request), initial={"ends_on": timezone.localdate(now) + timedelta(days=90)}), ""
    made = None
    if form.is_valid():
        try:
            made, told = services.make_token(**form.cleaned_data, by=request.user, at=now, key=posted_key(request))
        except Refusal as refusal:
            _refuse(form, refusal)
    page = _page(request, queries.tokens_of(request.user))
    rows = queries.token_rows(page, today=timezone.localdate(now))
    context = {"form": form, "page": page, "rows": rows, "made": made, "told": told, "guide": address("api:guide")}
    response = render(request, "accounts/tokens.html", context, status=422 if form.is_bound and not made else 200)
    if made:
        response["Cache-Control"] = "no-store"
    return response


@role_required(*Role)
@require_POST
def end_token(request: HttpRequest, token_id: int) -> HttpResponse:
    token = get_object_or_404(Token.objects.visible_to(request.user), pk=token_id)
    services.end_token(token_id=token.pk, by=request.user, at=clock.now())
    messages.success(request, f"The token “{token.name}” no longer holds.")
    if token.person_id != request.user.pk:
        return redirect("accounts:person", token.person_id)
    return redirect("accounts:tokens")


# People


@role_required(Role.MANAGER)
@require_safe
def people(request: HttpRequest) -> HttpResponse:
    return render(request, "accounts/people.html", {"page": _page(request, queries.people())})


@role_required(Role.MANAGER)
@sensitive_post_parameters()
@get_or_post
def person_new(request: HttpRequest) -> HttpResponse:
    form = NewPersonForm(posted(request))
    if form.is_valid():
        try:
            person = services.create_person(
                **form.cleaned_data, by=request.user, at=clock.now(), key=posted_key(request)
            )
        except Refusal as refusal:
            _refuse(form, refusal)
        else:
            invited = "" if form.cleaned_data["password"] else f" A letter with a link goes to {person.email}."
            messages.success(request, f"{person.full_name} may sign in as {person.username}.{invited}")
            return redirect("accounts:people")
    return render(request, "accounts/person_new.html", {"form": form})


@role_required(Role.MANAGER)
@get_or_post
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    shown = get_object_or_404(User, pk=person_id)
    form = PersonForm(posted(request), instance=get_object_or_404(User, pk=person_id))
    mark = _shown(request, shown)
    if form.is_valid():
        who = {"by": request.user, "at": clock.now()}
        try:
            services.change_person(person_id=person_id, **form.cleaned_data, shown=mark, **who)
        except Refusal as refusal:
            _refuse(form, refusal)
            mark = services.seen(shown) if isinstance(refusal, StalePage) else mark
        else:
            messages.success(request, f"Saved: {form.cleaned_data['full_name']}.")
            return redirect("accounts:people")
    tokens = queries.token_rows(queries.tokens_of(shown)[:PER_PAGE], today=timezone.localdate(clock.now()))
    context = {"form": form, "person": shown, "mark": mark, "tokens": tokens}
    return render(request, "accounts/person.html", context)


@role_required(Role.MANAGER)
@sensitive_post_parameters()
@get_or_post
def person_password(request: HttpRequest, person_id: int) -> HttpResponse:
    shown = get_object_or_404(User, pk=person_id)
    form = NewPasswordForm(posted(request), tokens=queries.standing_tokens(shown))
    if form.is_valid():
        try:
            services.set_password(person_id=person_id, **form.chosen, by=request.user, at=clock.now())
        except Refusal as refusal:
            _refuse(form, refusal)
        else:
            messages.success(request, f"{shown.full_name} has a new password and is signed out everywhere.")
            return redirect("accounts:person", person_id)
    return render(request, "accounts/person_password.html", {"form": form, "person": shown})


@role_required(Role.MANAGER)
@require_POST
def invite(request: HttpRequest, person_id: int) -> HttpResponse:
    get_object_or_404(User, pk=person_id)
    try:
        person = services.invite(person_id=person_id, by=request.user, at=clock.now())
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, f"A letter with a link goes to {person.email}.")
    return redirect("accounts:person", person_id)


# Customers


@role_required(Role.FRONT_DESK, Role.MANAGER)
@require_safe
def customers(request: HttpRequest) -> HttpResponse:
    part = request.GET.get("q", "")[:150].replace("\0", "")
    context = {"page": _page(request, queries.search_customers(part)), "q": part}
    return render(request, "accounts/customers.html", context)


@role_required(Role.FRONT_DESK, Role.MANAGER)
@get_or_post
def customer_new(request: HttpRequest) -> HttpResponse:
    form = CustomerForm(posted(request))
    if form.is_valid():
        try:
            made = services.create_customer(
                **form.cleaned_data, by=request.user, at=clock.now(), key=posted_key(request)
            )
        except Refusal as refusal:
            _refuse(form, refusal)
        else:
            messages.success(request, f"{made.name} is in the book.")
            return redirect("accounts:customers")
    return render(request, "accounts/customer.html", {"form": form})


@role_required(Role.FRONT_DESK, Role.MANAGER)
@get_or_post
def customer(request: HttpRequest, customer_id: int) -> HttpResponse:
    shown = get_object_or_404(Customer, pk=customer_id)
    form = CustomerForm(posted(request), instance=get_object_or_404(Customer, pk=customer_id))
    mark = _shown(request, shown)
    if form.is_valid():
        who = {"by": request.user, "at": clock.now()}
        try:
            services.change_customer(customer_id=customer_id, **form.cleaned_data, shown=mark, **who)
        except Refusal as refusal:
            _refuse(form, refusal)
            mark = services.seen(shown) if isinstance(refusal, StalePage) else mark
        else:
            messages.success(request, f"Saved: {form.cleaned_data['name']}.")
            return redirect("accounts:customers")
    return render(request, "accounts/customer.html", {"form": form, "customer": shown, "mark": mark})


# The lab itself


@role_required(Role.MANAGER)
@get_or_post
def lab(request: HttpRequest) -> HttpResponse:
    shown = queries.the_lab()
    form = LabForm(posted(request), instance=queries.the_lab())
    mark = _shown(request, shown)
    if form.is_valid():
        try:
            chosen = services.LabSettings(**form.cleaned_data)
            services.change_lab_settings(settings=chosen, shown=mark, by=request.user, at=clock.now())
        except Refusal as refusal:
            _refuse(form, refusal)
            mark = services.seen(shown) if isinstance(refusal, StalePage) else mark
        else:
            messages.success(request, "The lab's settings hold from now on.")
            return redirect("accounts:lab")
    return render(request, "accounts/lab.html", {"form": form, "mark": mark})
