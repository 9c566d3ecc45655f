"""Goes over every page as everybody who may, finds every form, and sends it: as it stands, well filled, and spoilt."""

import random
import re
import traceback
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from http.cookies import SimpleCookie

from django.conf import settings
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import resolve

from apps.accounts.models import User
from apps.trail.models import TrailEntry
from tests.walls.house import STAFF, addresses
from tests.walls.page import Form, Page
from tests.walls.values import BAD, bad_values, spoilt, well_filled

NOBODY = "nobody"
EVERYWHERE = ("empty", "long", "nul", "markup", "huge", "nan")
CALM = (200, 302, 422)
# What was asked for is the answer itself; nothing typed is shown again.
AT_ONCE = (
    *("sheets:sheets", "reporting:verify", "accounts:forgotten", "accounts:tokens", "equipment:import"),
    *("portal:bundle", "intake:receive"),
)


@dataclass(frozen=True)
class Found:
    """A form, where it stands, and who found it."""

    who: str
    page: str
    form: Form

    @property
    def view(self) -> str:
        return resolve(self.form.path).view_name

    @property
    def shape(self) -> tuple[str, ...]:
        """Two forms of one shape are one form with other rows in it."""
        names = dict.fromkeys(re.sub(r"\d+", "#", name) for name in self.form.names)
        return (self.form.method, self.view, *names)

    def __str__(self) -> str:
        return f"{self.who} at {self.page}: {self.form.method} {self.form.action}"


@dataclass
class Walk:
    """What was sent, and what did not stand: sentences that name page, form, field and value."""

    faults: list[str] = field(default_factory=list)
    done: set[str] = field(default_factory=set)
    posts: int = 0
    followed: Counter[str] = field(default_factory=Counter)
    clients: dict[str, tuple[Client, str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for who in (*STAFF, "casey"):
            client = Client()
            client.force_login(User.objects.get(username=who))
            self.clients[who] = client, client.cookies[settings.SESSION_COOKIE_NAME].value
        self.clients[NOBODY] = Client(), ""

    def client(self, who: str, *, anew: bool = False) -> Client:
        """The browser of this person, signed in; `anew`: as it was before all that did not happen."""
        client, session = self.clients[who]
        if anew:
            client.cookies = SimpleCookie({settings.SESSION_COOKIE_NAME: session} if session else {})
        return client

    # Finding

    def pages(self, most: int) -> Iterator[tuple[str, Page]]:
        """Of every kind of page some, at most so many to the manager and three to the others; with who opened it."""
        found = addresses(most)
        for who in (*STAFF, "casey", NOBODY):
            roles = User.objects.get(username=who).roles if who != NOBODY else frozenset()
            times: Counter[str] = Counter()
            for address in found:
                times[address.view] += 1
                if who != "mara" and times[address.view] > 3:
                    continue
                if not address.by_token and (address.roles is None or address.roles & roles):
                    answer = self.get(who, address.path)
                    if answer is not None and is_page(answer):
                        yield who, Page(answer.content.decode(), address.path)

    def get(self, who: str, path: str) -> HttpResponse | None:
        return self.send(Found(who, path, Form("get", path)), {}, "opened")

    def forms(self) -> list[Found]:
        """One of each shape, in the order of the pages; where it can be, one that does its act when well filled."""
        found: dict[tuple[str, ...], list[Found]] = {}
        for who, page in self.pages(12):
            for form in page.forms:
                one = Found(who, page.address, form)
                if form.method == "get" or form.of("csrfmiddlewaretoken"):
                    found.setdefault(one.shape, []).append(one)
        return [next((one for one in alike[:8] if self.does(one)), alike[0]) for alike in found.values()]

    def does(self, found: Found) -> bool:
        """Whether the act is done when the form is well filled; then it is taken back."""
        with transaction.atomic():
            self.client(found.who, anew=True)
            answer = self.send(found, well_filled(found.form), "well filled")
            done = answer is not None and (answer.status_code == 302 or found.view in AT_ONCE)
            transaction.set_rollback(True)
        if done:
            self.done.add(found.view)
        return done

    # Sending

    def send(self, found: Found, sent: Mapping[str, list[str]], what: str) -> HttpResponse | None:
        """Send once; None when the house broke."""
        self.posts += 1
        client = self.client(found.who)
        try:
            with transaction.atomic():
                if found.form.method == "get":
                    return client.get(found.form.path, sent)
                return client.post(
                    found.form.action, {name: [_sent(v) for v in values] for name, values in sent.items()}
                )
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)[::-1]
            where = next((frame for frame in frames if "/apps/" in frame.filename), frames[0])
            told = f"{type(error).__name__}: {str(error)[:160]} ({where.filename.split('/apps/')[-1]}:{where.lineno})"
            self.faults.append(f"{found}, {what}: {told}")
            return None

    def spoil(self, found: Found, sent: Mapping[str, list[str]], what: str, bad_field: str = "") -> None:
        """Send, look at the answer, and let it not have happened."""
        with transaction.atomic():
            self.client(found.who, anew=True)
            before = TrailEntry.objects.count()
            answer = self.send(found, sent, what)
            if answer is not None:
                self.look(found, sent, what, answer, bad_field, TrailEntry.objects.count() > before)
                if answer.status_code == 302:
                    self.check_rows(found, what)
            transaction.set_rollback(True)

    def repeat(self, found: Found, sent: Mapping[str, list[str]], *, again: bool = False) -> HttpResponse | None:
        """Send as the browser would once more; `again`: nothing may be written."""
        before = TrailEntry.objects.count()
        answer = self.send(found, sent, "again" if again else "well filled")
        if again and TrailEntry.objects.count() > before:
            self.faults.append(f"{found}: written once more")
        return answer

    def check_rows(self, found: Found, what: str) -> None:
        """What a commit would find: a row that points nowhere."""
        try:
            with transaction.atomic():
                connection.check_constraints()
        except Exception as error:
            self.faults.append(f"{found}, {what}: {type(error).__name__} at the commit: {str(error)[:160]}")

    def look(
        self, found: Found, sent: Mapping[str, list[str]], what: str, answer: HttpResponse, bad: str, written: bool
    ) -> None:
        def fault(sentence: str) -> None:
            self.faults.append(f"{found}, {what}: {sentence}")

        status = answer.status_code
        tampered = not sent or (bad and not any(control.is_typed for control in found.form.of(bad)))
        if status == 404 and tampered:
            return
        if status not in CALM:
            fault(f"answered {status}")
        elif status == 302:
            if not written and not list(get_messages(answer.wsgi_request)) and found.form.method == "post":
                fault(f"sent on to {answer.url} without a word, and nothing was written")
            self.follow(found, answer.url, what, 404 if tampered else 200)
        elif is_page(answer):
            page = Page(answer.content.decode(), found.form.action)
            if page.unwelcome:
                fault(f"the answer holds {page.unwelcome[:2]}")
            if found.form.method == "post":
                self.look_at_words(found, sent, page, fault, bad)

    def look_at_words(self, found: Found, sent: Mapping[str, list[str]], page: Page, fault, bad: str) -> None:
        """A sentence, and all that was typed, ticked and chosen; also what was typed badly, but for a NUL."""
        if not page.told and found.view in AT_ONCE:
            return
        if not page.told and sent:
            fault("not done, and no sentence says why")
        if bad and any(control.kind == "hidden" for control in found.form.of(bad)):
            return  # the page's own frame is broken, which no browser does
        for name, values in sent.items():
            controls = found.form.of(name)
            if name == bad and not (controls and controls[0].is_typed):
                continue
            if not controls or controls[0].kind in ("hidden", "password", "file"):
                continue
            several = controls[0].kind == "checkbox"
            kept = values if several else values[-1:]
            lost = [v for v in kept if v.strip() and "\0" not in v and not page.shows(name, v)]
            if lost:
                fault(f"{name} was {lost[0][:40]!r} and is lost")

    def follow(self, found: Found, url: str, what: str, also: int) -> None:
        """The page that one is sent on to: the first few times, for it is one page."""
        self.followed[found.form.action] += 1
        if self.followed[found.form.action] > 4:
            return
        answer = self.get(found.who, url.partition("#")[0])
        if answer is None:
            self.faults[-1] += f" <- {found}, {what}"
        elif is_page(answer):
            page = Page(answer.content.decode(), url)
            if answer.status_code not in (200, also) or page.unwelcome:
                self.faults.append(f"{found}, {what}: the next page {url}: {answer.status_code}, {page.unwelcome[:2]}")

    # One form

    def spoil_all(self, found: Found, most: int) -> None:
        """As it stands, empty, all fields bad at once; then `most` posts with one bad field each."""
        good = well_filled(found.form)
        self.spoil(found, found.form.as_it_stands(), "as it stands")
        self.spoil(found, {}, "with no field at all")
        typed = [name for name in found.form.names if found.form.of(name)[0].is_typed]
        for bad in EVERYWHERE if most > 9 else random.Random(str(found.shape)).sample(EVERYWHERE, 1):
            self.spoil(found, good | {name: [BAD[bad]] for name in typed}, f"every field {bad}")
        for name, bad in spread(found.form, most):
            self.spoil(found, spoilt(good, name, bad), f"{name} {bad}", name)


def spread(form: Form, most: int) -> list[tuple[str, str]]:
    """Field and bad value, at most so many: each field as often as any other, each value as often as any other."""
    chance = random.Random("".join(form.names))
    turns = {}
    for name in form.names:
        values = bad_values(form.of(name)[0])
        chance.shuffle(values)
        turns[name] = values
    found: list[tuple[str, str]] = []
    while any(turns.values()) and len(found) < most:
        for name, values in turns.items():
            if values and len(found) < most:
                found.append((name, values.pop()))
    return found


def _sent(value: str | bytes) -> str | SimpleUploadedFile:
    return SimpleUploadedFile("sheet.csv", value) if isinstance(value, bytes) else value


def is_page(answer: HttpResponse) -> bool:
    return not answer.streaming and answer.get("Content-Type", "").startswith("text/html")
