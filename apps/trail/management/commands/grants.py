"""Rights of the role that serves the pages: what the guards always refuse is not even granted. PostgreSQL only."""

import os

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection, transaction

from apps.trail.guarding import all_guards

# Django's own tables that only migrations write.
ONLY_READ = {"django_migrations", "django_content_type", "auth_permission", "auth_group", "auth_group_permissions"}
RIGHTS = ("SELECT", "INSERT", "UPDATE", "DELETE")


def rights_on(table: str) -> list[str]:
    """SELECT and what may be done to some row at least. Never TRUNCATE, TRIGGER or REFERENCES."""
    if table in ONLY_READ:
        return ["SELECT"]
    refused = {guard.event.upper() for guard in all_guards() if guard.table == table and guard.when == "1 = 1"}
    return [right for right in RIGHTS if right not in refused]


class Command(BaseCommand):
    help = "Give the web role its rights, after migrate, as the owner of the tables. May be run again at any time."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("role", help="made if it is not there, with the password in FULLING_WEB_PASSWORD")

    @transaction.atomic
    def handle(self, *args, role: str, **options) -> None:
        if connection.vendor != "postgresql":
            raise CommandError("Only PostgreSQL knows roles; a SQLite file is guarded by who may read it.")
        with connection.cursor() as cursor:
            self.make_role(cursor, role)
            cursor.execute(
                "SELECT pg_has_role(%s, tableowner, 'member') FROM pg_tables"
                " WHERE schemaname = 'public' AND tablename = 'trail_trailentry'",
                [role],
            )
            if cursor.fetchone() != (False,):
                raise CommandError(f"{role} owns the tables, is a superuser, or there are no tables yet: run migrate.")
            for statement in self.statements(connection.ops.quote_name(role)):
                cursor.execute(statement)
        self.stdout.write(f"{role} may now do what the pages need, and no more.")

    def make_role(self, cursor, role: str) -> None:
        name, password = connection.ops.quote_name(role), os.environ.get("FULLING_WEB_PASSWORD", "")
        cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role])
        if not cursor.fetchone():
            cursor.execute(f"CREATE ROLE {name} LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE")
        if password:
            cursor.execute(f"ALTER ROLE {name} PASSWORD %s", [password])

    def statements(self, role: str) -> list[str]:
        database = connection.ops.quote_name(connection.settings_dict["NAME"])
        tables = connection.introspection.table_names()
        return [
            f"REVOKE ALL ON DATABASE {database} FROM PUBLIC",
            f"GRANT CONNECT ON DATABASE {database} TO {role}",
            "REVOKE CREATE ON SCHEMA public FROM PUBLIC",
            f"REVOKE ALL ON SCHEMA public FROM {role}",
            f"GRANT USAGE ON SCHEMA public TO {role}",
            f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role}",
            *(
                f"GRANT {', '.join(rights_on(table))} ON {connection.ops.quote_name(table)} TO {role}"
                for table in tables
            ),
            f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {role}",
            # A table made later may be read, and written only once this has run again.
            f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT ON TABLES TO {role}",
            f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE ON SEQUENCES TO {role}",
        ]
