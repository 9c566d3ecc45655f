"""The one place with Django's migrate signals: guards down before, up again after, then the standing data."""

from importlib import import_module

from django.apps import AppConfig, apps
from django.core import checks
from django.db import connection
from django.db.models.signals import post_migrate, pre_migrate
from django.db.utils import DatabaseError
from django.utils.module_loading import module_has_submodule


def lower_guards(**kwargs) -> None:
    """SQLite rebuilds a table to alter it, which drops or trips over its triggers."""
    from apps.trail import guarding

    if connection.vendor == "sqlite":
        guarding.drop()


def raise_guards(**kwargs) -> None:
    from apps.trail import guarding

    guarding.install()
    for config in apps.get_app_configs():
        if module_has_submodule(config.module, "standing"):
            import_module(f"{config.name}.standing").load()


def check_guards(databases=None, **kwargs):
    """A warning, never an error: an error would stop `migrate`, which is the cure."""
    from apps.trail import guarding

    if not databases:
        return []
    try:
        if "trail_trailentry" not in connection.introspection.table_names():
            return []
        missing = guarding.missing_triggers()
    except DatabaseError:
        return []
    if not missing:
        return []
    return [
        checks.Warning(
            f"{len(missing)} guards are missing, such as {min(missing)}. Run manage.py migrate.", id="trail.W001"
        )
    ]


class TrailConfig(AppConfig):
    name = "apps.trail"

    def ready(self) -> None:
        pre_migrate.connect(lower_guards, sender=self)
        post_migrate.connect(raise_guards, sender=self)
        checks.register(check_guards, checks.Tags.database)
