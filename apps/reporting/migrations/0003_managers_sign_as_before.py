"""Until now every manager could sign for every method: in a lab at work this stays so until the lab says otherwise."""

from django.db import migrations
from django.utils import timezone


def grant(apps, schema_editor):
    managers = apps.get_model("accounts", "User").objects.filter(manager=True, is_active=True)
    methods = apps.get_model("methods", "TestMethod").objects.all()
    signatory, now = apps.get_model("reporting", "Signatory"), timezone.now()
    signatory.objects.bulk_create(
        signatory(method=method, person=person, since=now) for person in managers for method in methods
    )


class Migration(migrations.Migration):
    dependencies = [("reporting", "0002_amendments_and_signatories")]
    operations = [migrations.RunPython(grant, migrations.RunPython.noop)]
