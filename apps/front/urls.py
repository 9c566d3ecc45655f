from django.urls import path

from apps.front import views

app_name = "front"

urlpatterns = [
    path("", views.home, name="home"),
    path("scan/", views.scan, name="scan"),
    path("healthz", views.health, name="health"),
    # jobs/<number>/
    path("jobs/<slug:number>/", views.job, name="job"),
]
