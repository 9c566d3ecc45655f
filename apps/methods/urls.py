from django.urls import path

from apps.methods import views

app_name = "methods"
urlpatterns = [
    # /methods/
    path("methods/", views.method_list, name="list"),
    path("methods/<slug:code>/", views.method, name="method"),
]
