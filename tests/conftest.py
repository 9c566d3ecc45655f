"""The ground that tests stand on: which database, whose data folder, and what is told apart by marks.

FULLING_TEST_DB        sqlite (default) or postgres: a cluster of its own, started when the first test needs it
FULLING_BOTH_LEGS      set by tests/run: each leg leaves to the other what only the other can say (marks once and
                       postgres_only), so that a test reported as skipped is one that nobody ran
FULLING_REQUIRE_ALL    set by .ci/run: a run that left out a database, the browser or the races fails (see tally.py)
"""

import atexit
import io
import os
import shutil
import tempfile
import threading
from pathlib import Path

import pytest

from tests.cluster import Cluster

DATABASE = os.environ.get("FULLING_TEST_DB", "sqlite")
if DATABASE not in ("sqlite", "postgres"):
    raise pytest.UsageError(f"FULLING_TEST_DB is {DATABASE!r}; it must be sqlite or postgres.")

# The house reads its settings from the environment, once: all of this comes before Django is first asked.
FOLDER = Path(tempfile.mkdtemp(prefix="fulling-test-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)
CALC = Path(__file__).parent / "calc"  # numbers only: no test there asks a database
CLUSTER = Cluster() if DATABASE == "postgres" else None
for name in ("MODE", "SECRET_KEY", "HOSTS", "TIME_ZONE", "HTTPS", "MAIL_URL", "MAIL_FROM"):
    os.environ.pop(f"FULLING_{name}", None)
os.environ.pop("DATABASE_URL", None)
os.environ["FULLING_DATA"] = str(FOLDER / "data")
os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings"
os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = str(FOLDER / "hypothesis")
if CLUSTER:
    os.environ["DATABASE_URL"] = CLUSTER.url("fulling")
    atexit.register(CLUSTER.stop)

from django.conf import settings  # noqa: E402
from hypothesis import settings as hypothesis_settings  # noqa: E402

if settings.configured:
    raise pytest.UsageError("Unset DJANGO_SETTINGS_MODULE: the tests set up the house themselves.")
# Read now; and the name is taken back, or a worker of this run (tests/run) would read them before it comes to here.
DATABASES = settings.DATABASES
del os.environ["DJANGO_SETTINGS_MODULE"]
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
settings.WHITENOISE_AUTOREFRESH = True  # else every test client's first page walks all static files
if DATABASE == "sqlite":
    # A file, as in a real desk installation: threads of the live server get connections of their own.
    DATABASES["default"]["TEST"] = {"NAME": str(FOLDER / "test.sqlite3")}

hypothesis_settings.register_profile("house", derandomize=True, deadline=None, database=None)
hypothesis_settings.load_profile("house")

pytest_plugins = ["tests.browser", "tests.tally"]


def pytest_report_header() -> str:
    return (
        "databases: sqlite and postgres, side by side" if "FULLING_BOTH_LEGS" in os.environ else f"database: {DATABASE}"
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    both = "FULLING_BOTH_LEGS" in os.environ
    kept, left_out = [], []
    for item in items:
        if item.path.parent == CALC:
            item.add_marker("once")
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker("browser")
        needs_postgres = item.get_closest_marker("race") or item.get_closest_marker("postgres_only")
        elsewhere = needs_postgres if DATABASE == "sqlite" else item.get_closest_marker("once") and both
        if elsewhere and not both:
            item.add_marker(pytest.mark.skip(reason="PostgreSQL only"))
        (left_out if elsewhere and both else kept).append(item)
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = kept


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix: None):
    """pytest-django asks for this just before it makes the test database."""
    if CLUSTER:
        CLUSTER.start()


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker):
    """The database is the one asked for. On PostgreSQL, threads (the live server's, the races') work as the web role,
    the test itself as the owner."""
    from django.db import connection

    assert connection.vendor == {"sqlite": "sqlite", "postgres": "postgresql"}[DATABASE]
    if not CLUSTER:
        yield
        return
    from django.core.management import call_command
    from django.db.backends.signals import connection_created

    def take_role(connection, **kwargs) -> None:
        if threading.current_thread() is not threading.main_thread():
            with connection.cursor() as cursor:
                cursor.execute("SET ROLE fulling_web")

    with django_db_blocker.unblock():
        call_command("grants", "fulling_web", verbosity=0, stdout=io.StringIO())
    connection_created.connect(take_role)
    yield
    connection_created.disconnect(take_role)


@pytest.fixture(scope="session")
def cluster(django_db_setup: None) -> Cluster:
    """The running PostgreSQL, for tests marked postgres_only that need roles or a database of their own."""
    return CLUSTER


@pytest.fixture(scope="session", autouse=True)
def _flush_past_guards():
    """Between transactional tests all tables are emptied, which the guards exist to refuse. Here only."""
    from django.db import connection, transaction
    from django.db.backends.base.operations import BaseDatabaseOperations

    from apps.trail import guarding

    plain = BaseDatabaseOperations.execute_sql_flush

    def execute_sql_flush(self, sql_list: list[str]) -> None:
        with transaction.atomic():
            if DATABASE == "sqlite":
                guarding.drop()
            else:
                with connection.cursor() as cursor:
                    cursor.execute("SET LOCAL session_replication_role = replica")
            plain(self, sql_list)
            if DATABASE == "sqlite":
                guarding.install()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BaseDatabaseOperations, "execute_sql_flush", execute_sql_flush)
        yield


@pytest.fixture
def people(db: None):
    """The cast of cast.py for tests that are functions: `people.fran`, `people.washers`, ..."""
    from tests.cast import assemble

    return assemble()
