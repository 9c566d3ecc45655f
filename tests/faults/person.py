"""Somebody at a browser without script, who sends the same form again until the house says that it is done."""

import http.client
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.cookies import SimpleCookie
from urllib.parse import urlencode

PATIENCE = 60


class NotAnswered(Exception):
    """No whole answer came. `in_flight`: the request had reached the house."""

    def __init__(self, *, in_flight: bool) -> None:
        self.in_flight = in_flight


class Refused(Exception):
    """The house answered, and said no to what it should take."""


@dataclass
class Act:
    """One form sent under its key: when, how often, and whether an answer was lost on the way."""

    key: str
    sent: list[float] = field(default_factory=list)
    broken: bool = False
    acknowledged: float = 0.0


class Forms(HTMLParser):
    """The forms of a page by their address: what a browser would send when nothing is typed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: dict[str, dict[str, str]] = {}
        self._fields: dict[str, str] = {}
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self._fields = self.found.setdefault(given.get("action") or "", {})
        elif tag == "input" and given.get("name"):
            unchecked = given.get("type") in ("radio", "checkbox") and "checked" not in given
            if not unchecked:
                self._fields[given["name"]] = given.get("value") or ""


class Person:
    def __init__(self, port: int, host: str, cookie: tuple[str, str], on_write: Callable[[str], None]) -> None:
        """`cookie`: who it is. `on_write` is told the key of each form that is about to go out for the first time."""
        self.port, self.host, self.on_write = port, host, on_write
        self.cookies = dict([cookie])
        self.acts: list[Act] = []

    def send(self, page: str, action: str, **typed: str) -> Act:
        """Open the page, fill in its form and send it, again and again, until it is acknowledged."""
        shown = self._insist("GET", page)
        form = Forms(shown).found.get(action)
        if form is None:
            raise Refused(f"{page} has no form for {action}:\n{shown}")
        act = Act(form["key"])
        self.acts.append(act)
        self.on_write(act.key)
        self._insist("POST", action, {**form, **typed}, act)
        return act

    def _insist(self, method: str, path: str, fields: dict[str, str] | None = None, act: Act | None = None) -> str:
        deadline = time.monotonic() + PATIENCE
        while time.monotonic() < deadline:
            if act:
                act.sent.append(time.time())
            try:
                status, text = self._ask(method, path, fields)
            except NotAnswered as fault:
                if act:
                    act.broken |= fault.in_flight
            else:
                if status == (302 if act else 200):
                    if act:
                        act.acknowledged = time.time()
                    return text
                if status < 500:
                    raise Refused(f"{method} {path} was answered {status}: {text[:2000]}")
                if act:
                    act.broken = True
            time.sleep(0.05)
        raise Refused(f"{method} {path} was not answered within {PATIENCE} s.")

    def _ask(self, method: str, path: str, fields: dict[str, str] | None) -> tuple[int, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        headers = {"Host": self.host, "Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if fields is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            connection.connect()
        except OSError as error:
            raise NotAnswered(in_flight=False) from error
        try:
            connection.request(method, path, urlencode(fields) if fields is not None else None, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
        except (OSError, http.client.HTTPException) as error:
            raise NotAnswered(in_flight=True) from error
        finally:
            connection.close()
        if "Content-Length" not in answer.headers:  # cut off within the headers, which a client takes for their end
            raise NotAnswered(in_flight=True)
        for line in answer.headers.get_all("Set-Cookie") or []:
            for name, morsel in SimpleCookie(line).items():
                self.cookies[name] = morsel.value
        return answer.status, text


def together(*tasks: Callable[[], None]) -> None:
    """Each task in a thread of its own; the first fault of any is raised once all have ended."""
    faults: list[BaseException] = []

    def run(task: Callable[[], None]) -> None:
        try:
            task()
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=run, args=[task]) for task in tasks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]
