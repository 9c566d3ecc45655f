"""Each room's addresses are in its own urls.py; this is their order."""

from django.urls import include, path

urlpatterns = [
    path("", include("apps.front.urls")),
    path("", include("apps.accounts.urls")),
    path("", include("apps.methods.urls")),
    path("", include("apps.equipment.urls")),
    path("", include("apps.intake.urls")),
    path("", include("apps.laundering.urls")),
    path("", include("apps.measuring.urls")),
    path("", include("apps.reporting.urls")),
    path("", include("apps.control.urls")),
    path("", include("apps.sheets.urls")),
    path("", include("apps.portal.urls")),
    path("", include("apps.api.urls")),
]

handler500 = "apps.front.views.broken"
