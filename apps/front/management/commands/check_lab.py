"""Looks the whole book through and names every row that does not hold together."""

from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor

from apps.front.whole import CHECKS


class Command(BaseCommand):
    help = (
        "Look the whole book through: guards, constraints, the trail's chain, stored files, specimens, cycles and "
        "readings, issued reports against what they rest on. Changes nothing; ends with 1 when something is wrong."
    )

    def handle(self, *args, **options) -> None:
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            raise CommandError("The tables are not those of this version. Run manage.py migrate first.")
        found, whole = 0, connection.vendor == "postgresql" and not connection.in_atomic_block
        with transaction.atomic():
            if whole:  # one moment of the book, while people go on writing
                connection.cursor().execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            for name, check in CHECKS.items():
                self.stdout.write(f"{name} ...", ending="")
                self.stdout.flush()
                faults = list(check())
                self.stdout.write(f" {len(faults)} wrong" if faults else " in order")
                for fault in faults:
                    self.stdout.write(self.style.ERROR(f"  {fault}"))
                found += len(faults)
        if found:
            raise CommandError(f"{found} thing{'s' if found > 1 else ''} wrong. The rows above say where.")
        self.stdout.write("The book holds together.")
