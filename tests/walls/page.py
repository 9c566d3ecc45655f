"""A page as a browser without script reads it: its forms and what stands in them, what it says is wrong, and whatever
a page of this house must not hold."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit

# What differs from one time to the next, and where the menu says one is.
ONE_TIME = re.compile(
    rb'"X-CSRFToken": "\w+"|csrfmiddlewaretoken" value="\w+"|name="key" value="[0-9a-f-]+"| aria-current="page"'
)
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr"}
TELLING = {"error", "errorlist", "summary", "message", "problems"}
PICKED = {"checkbox", "radio"}
TYPED = {"text", "search", "email", "tel", "url", "textarea", "number", "date", "time", "datetime-local"}


@dataclass
class Control:
    """An input, select or textarea. `choices`: the values of a select."""

    name: str
    kind: str
    value: str = ""
    on: bool = True  # a box that is ticked; anything else is
    choices: list[str] = field(default_factory=list)
    longest: int = 0  # characters that it says it takes; 0: it does not say

    @property
    def is_typed(self) -> bool:
        return self.kind in TYPED


@dataclass
class Form:
    method: str
    action: str
    controls: list[Control] = field(default_factory=list)
    buttons: list[tuple[str, str]] = field(default_factory=list)

    @property
    def path(self) -> str:
        return urlsplit(self.action).path

    @property
    def names(self) -> list[str]:
        return list(dict.fromkeys(control.name for control in self.controls))

    def of(self, name: str) -> list[Control]:
        return [control for control in self.controls if control.name == name]

    def as_it_stands(self) -> dict[str, list[str]]:
        """What the browser sends when nothing is typed and the last button is pressed."""
        sent: dict[str, list[str]] = {}
        for control in self.controls:
            if control.on:
                sent.setdefault(control.name, []).append(control.value)
        for name, value in self.buttons[-1:]:
            sent.setdefault(name, []).append(value)
        return sent


class Page(HTMLParser):
    def __init__(self, text: str, address: str = "/") -> None:
        super().__init__()
        self.address = address
        self.forms: list[Form] = []
        self.sentences: list[str] = []
        self.unwelcome: list[str] = []
        self.links: list[str] = []
        self._open: list[tuple[str, bool]] = []  # tag, whether it begins something that tells
        self._form: Form | None = None
        self._select: Control | None = None
        self._textarea: Control | None = None
        self._option: list[str] | None = None
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self._look_at(tag, given)
        if tag not in VOID:
            tells = bool(TELLING & set(given.get("class", "").split())) or given.get("role") == "alert"
            if tells:
                self.sentences.append("")
            self._open.append((tag, tells))
        if any(tag == "template" for tag, _ in self._open):
            return  # nothing of it is there without script
        if tag == "form":
            action = urljoin(self.address, given.get("action", "")) if given.get("action") else self.address
            self._form = Form(given.get("method", "get").lower(), action)
            self.forms.append(self._form)
        elif tag == "a" and "href" in given:
            self.links.append(given["href"])
        elif self._form is not None and "disabled" not in given:
            self._control(tag, given)

    def _control(self, tag: str, given: dict[str, str]) -> None:
        name, kind = given.get("name", ""), given.get("type", "text").lower()
        if tag == "option" and self._select is not None:
            self._option = [given["value"]] if "value" in given else []
            chosen = "selected" in given or not self._select.choices
            self._select.choices.append(given.get("value", ""))
            if chosen:
                self._select.value = given.get("value", "")
        elif not name:
            return
        elif tag == "button" or (tag == "input" and kind in ("submit", "image")):
            self._form.buttons.append((name, given.get("value", "")))
        elif tag == "input" and kind in PICKED:
            self._form.controls.append(Control(name, kind, given.get("value", "on"), "checked" in given))
        elif tag == "input":
            self._form.controls.append(Control(name, kind, given.get("value", ""), longest=_longest(given)))
        elif tag == "textarea":
            self._textarea = Control(name, "textarea", longest=_longest(given))
            self._form.controls.append(self._textarea)
        elif tag == "select":
            self._select = Control(name, "select")
            self._form.controls.append(self._select)

    def _look_at(self, tag: str, given: dict[str, str]) -> None:
        """Nothing inline: the page's security policy would refuse it, or somebody typed it."""
        if tag == "style" or (tag == "script" and "src" not in given):
            self.unwelcome.append(f"<{tag}>")
        for name, value in given.items():
            if name == "style" or name.startswith("on") or value.strip().lower().startswith("javascript:"):
                self.unwelcome.append(f'<{tag} {name}="{value[:60]}">')

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._look_at(tag, {name: value or "" for name, value in attrs})
        if tag in VOID:
            self.handle_starttag(tag, attrs)

    def handle_data(self, data: str) -> None:
        if self._textarea is not None:
            self._textarea.value += data
        if any(tells for _, tells in self._open):
            self.sentences[-1] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "textarea" and self._textarea is not None:
            self._textarea.value = self._textarea.value.removeprefix("\n")
            self._textarea = None
        elif tag == "select":
            self._select = None
        elif tag == "form":
            self._form = None
        while any(tag == name for name, _ in self._open):
            if self._open.pop()[0] == tag:
                break

    @property
    def told(self) -> list[str]:
        """What the page says that went wrong, or was done."""
        return [" ".join(sentence.split()) for sentence in self.sentences if sentence.strip()]

    def shows(self, name: str, value: str) -> bool:
        """Whether a field of this name holds this value: typed into it, ticked or chosen."""
        wanted = " ".join(value.split())
        return any(
            " ".join(control.value.split()) == wanted for form in self.forms for control in form.of(name) if control.on
        )


def _longest(given: dict[str, str]) -> int:
    return int(given.get("maxlength") or 0)
