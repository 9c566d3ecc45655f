"""Too many wrong passwords: who waits, and for how long."""

from axes.handlers.database import AxesDatabaseHandler
from django.db.models import QuerySet
from django.http import HttpRequest

from apps.core.clock import SKEW


class Handler(AxesDatabaseHandler):
    """Counts no try that is yet to come: a server's clock that once ran ahead keeps nobody out until then."""

    def get_user_attempts(self, request: HttpRequest, credentials: dict | None = None) -> list[QuerySet]:
        latest = request.axes_attempt_time + SKEW
        return [tries.filter(attempt_time__lte=latest) for tries in super().get_user_attempts(request, credentials)]
