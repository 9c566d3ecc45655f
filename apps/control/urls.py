from django.urls import path

from apps.control.views import front

app_name = "control"
urlpatterns = [
    path("control/", front.overview, name="overview"),
]
