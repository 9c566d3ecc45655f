"""Every form of the house as its view makes it, to be filled anew with anything at all."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from unittest import mock

from django import forms
from django.core.files.uploadedfile import SimpleUploadedFile
from django.forms.forms import DeclarativeFieldsMetaclass
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.walls.values import BAD

UNTYPED = (forms.PasswordInput, forms.FileInput)


@dataclass(frozen=True)
class Made:
    """A form that a view made, and with what."""

    kind: type[forms.BaseForm]
    args: tuple[Any, ...]
    more: dict[str, Any]
    plain: forms.BaseForm

    def filled(self, sent: QueryDict, files: MultiValueDict) -> forms.BaseForm:
        """The same once more, whatever was typed into that one, with this typed into it."""
        plain = forms.BaseForm.__init__

        def with_this(form: forms.BaseForm, data: Any = None, other: Any = None, *args: Any, **more: Any) -> None:
            plain(form, sent, files, *args, **more)

        with mock.patch.object(forms.BaseForm, "__init__", with_this):
            return self.kind(*self.args, **self.more)


@contextmanager
def watching(made: dict[str, Made]) -> Iterator[None]:
    """Whatever form of ours is made meanwhile is kept: the first of each class and set of fields."""

    def call(cls: type, *args: Any, **more: Any) -> forms.BaseForm:
        form = type.__call__(cls, *args, **more)
        if cls.__module__.startswith("apps."):
            made.setdefault(f"{name_of(cls)}: {' '.join(form.fields)}"[:200], Made(cls, args, more, form))
        return form

    with mock.patch.object(DeclarativeFieldsMetaclass, "__call__", call, create=True):
        yield


def name_of(cls: type) -> str:
    return f"{cls.__module__.removeprefix('apps.')}.{cls.__qualname__}"


def forms_of_the_house(cls: type = forms.BaseForm) -> set[type]:
    """Those that no other is made of."""
    below = [found for one in cls.__subclasses__() for found in forms_of_the_house(one)]
    ours = cls.__module__.startswith("apps.") and not cls.__qualname__.startswith("_")
    return set(below) or ({cls} if ours else set())


typed = st.one_of(
    st.sampled_from([value for value in BAD.values() if isinstance(value, str)]),
    st.text(max_size=30),
    st.integers().map(str),
    st.decimals(allow_nan=True).map(str),
    st.datetimes().map(lambda moment: f"{moment:%Y-%m-%dT%H:%M}"),
    st.dates().map(str),
)


def values(field: forms.Field) -> st.SearchStrategy[list[str]]:
    """What may come for a field: nothing, something of what it offers, anything, several of it."""
    offered = [str(value) for value, _ in getattr(field, "choices", []) if not isinstance(value, list | tuple)][:30]
    one = st.one_of(st.sampled_from(offered), typed) if offered else typed
    return st.one_of(one.map(lambda value: [value]), st.just([]), st.lists(one, max_size=3))


def files(field: forms.Field) -> st.SearchStrategy[list[SimpleUploadedFile]]:
    names = st.sampled_from(["a.csv", "../../x.pdf", "\u202efdp.exe", "a" * 300])
    one = st.builds(SimpleUploadedFile, names, st.binary(max_size=200))
    return st.lists(one, max_size=2)


def fill(made: Made, data: st.DataObject) -> tuple[QueryDict, MultiValueDict]:
    sent, uploaded = QueryDict(mutable=True), MultiValueDict()
    for name, field in made.plain.fields.items():
        key = made.plain.add_prefix(name)
        if isinstance(field, forms.FileField):
            if came := data.draw(files(field), key):
                uploaded.setlist(key, came)
        elif came := data.draw(values(field), key):
            sent.setlist(key, came)
    return sent, uploaded


def faults_of(form: forms.BaseForm, sent: QueryDict) -> list[str]:
    """What must not be: an error that is no sentence, something typed that is gone, markup that came through."""
    form.full_clean()
    found = []
    for name, errors in form.errors.items():
        for error in errors:
            if not error.strip() or "Traceback" in error or " object at 0x" in error or "<class" in error:
                found.append(f"{name}: {error!r} is no sentence")
    for name, field in form.fields.items():
        widget, key = field.widget, form.add_prefix(name)
        if isinstance(widget, UNTYPED) or field.disabled:
            continue
        shown = str(form[name])
        if "<script" in shown or "<img" in shown:
            found.append(f"{name}: markup")
        last = sent.getlist(key)[-1:]
        if isinstance(widget, forms.TextInput | forms.Textarea) and last and form[name].value() != last[0]:
            found.append(f"{name}: {last[0][:40]!r} is lost, {form[name].value()!r} stands there")
    return found


def random_faults(made: Made, inputs: int) -> list[str]:
    """What so many fillings bring to light, drawn alike in every run."""
    found: list[str] = []

    @settings(
        **{"max_examples": inputs, "deadline": None, "derandomize": True, "database": None},
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.data())
    def anything(data: st.DataObject) -> None:
        sent, uploaded = fill(made, data)
        try:
            found.extend(faults_of(made.filled(sent, uploaded), sent))
        except Exception as error:
            found.append(f"{type(error).__name__}: {error}, of {sent.dict()}"[:400])

    anything()
    return found
