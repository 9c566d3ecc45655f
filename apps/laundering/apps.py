from django.apps import AppConfig


class LaunderingConfig(AppConfig):
    name = "apps.laundering"
