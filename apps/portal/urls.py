from django.urls import path

from apps.portal import views

app_name = "portal"

urlpatterns = [
    # my/
    path("my/", views.jobs, name="jobs"),
    path("my/reports/", views.reports, name="reports"),
    path("my/reports/zip/", views.bundle, name="bundle"),
    path("my/<slug:number>/", views.job, name="job"),
]
