from django.urls import path

from apps.measuring import views

app_name = "measuring"

urlpatterns = [
    path("bench/", views.bench, name="bench"),
    # samples/<code>/
    path("samples/<slug:code>/cut/<int:ordinal>/", views.cut, name="cut"),
    path("samples/<slug:code>/readings/", views.readings, name="readings"),
    path("samples/<slug:code>/readings/enter/", views.enter, name="enter"),
    path("samples/<slug:code>/readings/lost/", views.lose_mark, name="lose_mark"),
    path("samples/<slug:code>/results/", views.results, name="results"),
    # readings/
    path("readings/<int:reading_id>/correct/", views.correct, name="correct"),
]
