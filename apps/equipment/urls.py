from django.urls import path

from apps.equipment.views import air, calibrations, holds, imports, machines

app_name = "equipment"
urlpatterns = [
    # /equipment/
    path("equipment/", machines.equipment_list, name="list"),
    path("equipment/new/", machines.new, name="new"),
    path("equipment/calendar/", machines.calendar, name="calendar"),
    path("equipment/calendar.csv", machines.calendar_as_csv, name="calendar_csv"),
    # /equipment/<id>/
    path("equipment/<int:equipment_id>/", machines.page, name="page"),
    path("equipment/<int:equipment_id>/change/", machines.change, name="change"),
    path("equipment/<int:equipment_id>/calibrate/", calibrations.calibrate, name="calibrate"),
    path("equipment/<int:equipment_id>/out-of-service/", machines.out_of_service, name="out_of_service"),
    path("equipment/<int:equipment_id>/return/", machines.return_to_service, name="return"),
    # /equipment/<id>/atmosphere/
    path("equipment/<int:room_id>/atmosphere/", air.atmosphere, name="atmosphere"),
    path("equipment/<int:room_id>/atmosphere/log/", air.log, name="log"),
    path("equipment/<int:room_id>/atmosphere/tolerance/", air.tolerance, name="tolerance"),
    path("equipment/<int:room_id>/atmosphere/import/", imports.import_file, name="import"),
    path("equipment/<int:room_id>/atmosphere/import/store/", imports.store, name="store"),
    path("equipment/holds/<int:hold_id>/release/", holds.release, name="release_hold"),
    # records that were wrong
    path("equipment/calibrations/<int:calibration_id>/void/", calibrations.void_calibration, name="void_calibration"),
    path("equipment/readings/<int:reading_id>/void/", air.void_reading, name="void_reading"),
    path("equipment/imports/<int:import_id>/void/", imports.void_import, name="void_import"),
]
