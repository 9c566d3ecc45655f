from django.apps import AppConfig


class ControlConfig(AppConfig):
    name = "apps.control"
