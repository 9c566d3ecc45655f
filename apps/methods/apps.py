from django.apps import AppConfig


class MethodsConfig(AppConfig):
    name = "apps.methods"
