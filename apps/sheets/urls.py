from django.urls import path

from apps.sheets import views

app_name = "sheets"

urlpatterns = [
    # sheets/
    path("sheets/", views.sheets, name="sheets"),
    path("sheets/results/", views.results, name="results"),
]
