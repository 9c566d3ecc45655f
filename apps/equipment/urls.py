from django.urls import path

from apps.equipment import views

app_name = "equipment"
urlpatterns = [
    # /equipment/
    path("equipment/", views.equipment_list, name="list"),
    path("equipment/new/", views.new, name="new"),
    # /equipment/<id>/
    path("equipment/<int:equipment_id>/", views.edit, name="edit"),
    path("equipment/<int:equipment_id>/out-of-service/", views.out_of_service, name="out_of_service"),
    path("equipment/<int:equipment_id>/return/", views.return_to_service, name="return"),
]
