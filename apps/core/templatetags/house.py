"""What templates print with. Built into every template: no load tag needed."""

import uuid
from copy import copy
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django import template
from django.forms import BaseForm, BoundField, DecimalField, FloatField, Widget
from django.template.context import Context
from django.utils import timezone
from django.utils.dateformat import format as format_date
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from apps.calc.rounding import format_change
from apps.core.drawing import Drawing, to_svg

register = template.Library()

# A state is told by a word and by a shape; the tone only underlines it.
SHAPES = {
    "open": '<circle cx="8" cy="8" r="6"/>',
    "half": '<circle cx="8" cy="8" r="6"/><path class="fill" d="M8 2a6 6 0 0 1 0 12z"/>',
    "full": '<circle class="fill" cx="8" cy="8" r="6"/>',
    "due": '<circle cx="8" cy="8" r="6"/><circle class="fill" cx="8" cy="8" r="2.5"/>',
    "frame": '<path d="M2.5 2.5h11v11h-11z"/>',
    "square": '<path class="fill" d="M2.5 2.5h11v11h-11z"/>',
    "diamond": '<path d="M8 1.5 14.5 8 8 14.5 1.5 8z"/>',
    "triangle": '<path d="M8 2 14.5 13.5h-13z"/><path d="M8 6.5v3M8 11.2v.6"/>',
    "cross": '<path d="m3 3 10 10M13 3 3 13"/>',
    "tick": '<path d="m2 8.5 4 4L14 3.5"/>',
}

# Code of a state -> shape and tone. A code that is not here is drawn as an open circle.
STATES = {
    # a specimen's stage
    "cut": ("frame", "calm"),
    "marked": ("half", "calm"),
    "ready": ("due", "calm"),
    "in_load": ("half", "calm"),
    "owed": ("due", "calm"),
    "done": ("full", "calm"),
    "set_aside": ("cross", "calm"),
    # a request's lock, a report
    "locked": ("square", "calm"),
    "amending": ("diamond", "care"),
    "issued": ("square", "calm"),
    "superseded": ("frame", "calm"),
    "withdrawn": ("cross", "care"),
    # a load, a drying run
    "made_up": ("open", "calm"),
    "washing": ("half", "calm"),
    "washed": ("full", "calm"),
    "running": ("half", "calm"),
    "dried": ("full", "calm"),
    "void": ("cross", "care"),
    # a verdict
    "pass": ("tick", "good"),
    "conditional_pass": ("triangle", "care"),
    "conditional_fail": ("triangle", "care"),
    "fail": ("cross", "care"),
    # what needs somebody's eye
    "at_risk": ("triangle", "care"),
    "overdue": ("triangle", "care"),
    "urgent": ("triangle", "care"),
    "sent_back": ("diamond", "care"),
    # people, machines
    "active": ("full", "calm"),
    "inactive": ("cross", "calm"),
}


def _number(value: Any) -> Decimal | None:
    """A Decimal from a Decimal, a whole number or a fact's text; None when it is no number."""
    try:
        number = Decimal(value) if isinstance(value, int | str | Decimal) else None
    except InvalidOperation:
        return None
    return number if number is not None and number.is_finite() else None


@register.filter
def change(value: Any) -> str:
    """An already rounded change in percent: "+2.0", "0.0", and a true minus sign. Nothing for nothing."""
    number = _number(value)
    return "" if number is None else format_change(number)


@register.filter
def mm(value: Any) -> str:
    """Millimetres as they were read, never rounded, with one decimal at least: "350.0", "244.475"."""
    number = _number(value)
    if number is None:
        return ""
    whole, _, decimals = format(abs(number), "f").partition(".")
    sign = "\N{MINUS SIGN}" if number < 0 else ""
    return f"{sign}{whole}.{decimals.rstrip('0') or '0'}"


@register.filter
def moment(value: datetime | None) -> str:
    """Date and time on the lab's clock: "12 Mar 2026, 09:40"."""
    if not value:
        return ""
    local = timezone.localtime(value) if timezone.is_aware(value) else value
    return format_html('<time datetime="{}">{}</time>', local.isoformat(), format_date(local, "j M Y, H:i"))


@register.filter
def day(value: date | None) -> str:
    """A date: "12 Mar 2026"."""
    if not value:
        return ""
    if isinstance(value, datetime):
        value = timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), format_date(value, "j M Y"))


@register.simple_tag
def state(code: str, word: str = "", tone: str = "") -> SafeString:
    """A state as shape and word. `code` is a state's code (`in_load`) or a shape's name (`half`)."""
    known = code if code in SHAPES else ""
    shape, usual = STATES.get(code, (known or "open", "calm"))
    return format_html(
        '<span class="state state--{}"><svg viewBox="0 0 16 16" aria-hidden="true">{}</svg>{}</span>',
        tone or usual,
        mark_safe(SHAPES[shape]),
        word or code.replace("_", " "),
    )


@register.simple_tag(takes_context=True)
def hidden_key(context: Context, form: BaseForm | None = None) -> SafeString:
    """The act's own key. A form shown again with its errors keeps the key it came with; any other gets a new one."""
    form = form or context.get("form")
    request = context.get("request")
    key = ""
    if request is not None and request.method == "POST" and getattr(form, "is_bound", False):
        key = request.POST.get("key", "")
    try:
        key = str(uuid.UUID(key))
    except ValueError:
        key = str(uuid.uuid4())
    return format_html('<input type="hidden" name="key" value="{}">', key)


def _kept_as_typed(field: BoundField) -> Widget:
    """A number input drops what it cannot read; a text input with a keypad keeps it for the person to correct."""
    widget = copy(field.field.widget)
    if getattr(widget, "input_type", "") == "number":
        keypad = "decimal" if isinstance(field.field, DecimalField | FloatField) else "numeric"
        kept = {name: value for name, value in widget.attrs.items() if name not in ("min", "max", "step")}
        widget.input_type, widget.attrs = "text", {"inputmode": keypad, "autocomplete": "off", **kept}
    return widget


@register.simple_tag
def control(field: BoundField, **attrs: Any) -> SafeString:
    """A field's input alone, with attributes: {% control form.mass aria_label="Mass" %}."""
    given = {name.replace("_", "-"): value for name, value in attrs.items()}
    return field.as_widget(widget=_kept_as_typed(field), attrs=given)


@register.inclusion_tag("parts/cell.html")
def cell(field: BoundField, label: str, **attrs: Any) -> dict[str, Any]:
    """One figure of a grid: the input, named by `label` for those who cannot see the grid, and its error."""
    return {"field": field, "input": control(field, **{"aria_label": label, "inputmode": "decimal", **attrs})}


def drawn(drawing: Drawing) -> SafeString:
    """A drawing as inline SVG."""
    return to_svg(drawing)


register.simple_tag(drawn, name="drawing")
register.simple_tag(drawn, name="curve")
