"""What stands on the label of a load: it goes with the basket."""

from django.utils import timezone

from apps.core.labels import Label
from apps.laundering.models import Load
from apps.laundering.queries import load_code


def load_label(load: Load) -> Label:
    code = load_code(load.pk)
    made_up = f"made up {timezone.localtime(load.made_up_at):%d %b %Y, %H:%M}"
    return Label(code, f"Load {load.pk}", (code, str(load.procedure), made_up))
