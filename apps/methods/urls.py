from django.urls import path

from apps.methods import views

app_name = "methods"
METHOD, WASH, DRYING, EXTRA = ({"kind": kind} for kind in ("method", "procedure", "drying", "extra"))
urlpatterns = [
    # /methods/
    path("methods/", views.method_list, name="list"),
    path("methods/points/", views.points, name="points"),
    path("methods/figures/<int:figure_id>/", views.figure, name="figure"),
    # /methods/washes/
    path("methods/washes/", views.wash_list, name="washes"),
    path("methods/washes/<slug:code>/", views.wash, name="wash"),
    path("methods/washes/<slug:code>/copy/", views.copy, WASH, name="copy_wash"),
    path("methods/washes/<slug:code>/retire/", views.retire, WASH, name="retire_wash"),
    path("methods/washes/<slug:code>/take-back/", views.take_back, WASH, name="take_back_wash"),
    # /methods/dryings/
    path("methods/dryings/", views.drying_list, name="dryings"),
    path("methods/dryings/<slug:code>/", views.drying, name="drying"),
    path("methods/dryings/<slug:code>/copy/", views.copy, DRYING, name="copy_drying"),
    path("methods/dryings/<slug:code>/retire/", views.retire, DRYING, name="retire_drying"),
    path("methods/dryings/<slug:code>/take-back/", views.take_back, DRYING, name="take_back_drying"),
    # /methods/extras/
    path("methods/extras/<slug:code>/", views.extra, name="extra"),
    path("methods/extras/<slug:code>/retire/", views.retire, EXTRA, name="retire_extra"),
    path("methods/extras/<slug:code>/take-back/", views.take_back, EXTRA, name="take_back_extra"),
    # /methods/<code>/
    path("methods/<slug:code>/", views.method, name="method"),
    path("methods/<slug:code>/copy/", views.copy, METHOD, name="copy_method"),
    path("methods/<slug:code>/scope/", views.act_on_scope, name="scope"),
    path("methods/<slug:code>/retire/", views.retire, METHOD, name="retire_method"),
    path("methods/<slug:code>/take-back/", views.take_back, METHOD, name="take_back_method"),
]
