"""The commands of docker-compose.yml, run against PostgreSQL: migrate, grants, gunicorn; what the web role may."""

import os
import re
import shlex
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest

from apps.trail.guarding import all_guards
from tests.cluster import Cluster
from tests.deployment import as_list, build_steps, compose, lay_out_image

pytestmark = [pytest.mark.postgres_only, pytest.mark.django_db]
INSERT_ONLY = ["trail_trailentry", "trail_blob", "reporting_report", "reporting_reportrequest", "reporting_reportfile"]
INSERT_ONLY += ["reporting_amendment", "reporting_withdrawal"]
HOST = "lab.example"
BIN = Path(sys.executable).parent


@dataclass
class Site:
    """A lab's own server: the image's folder and a database that was migrated as compose does it."""

    folder: Path
    cluster: Cluster
    services: dict

    def environment(self, service: str) -> dict[str, str]:
        given = self.services[service]["environment"]
        there = f"@/production?host={self.cluster.folder}"
        url = given["DATABASE_URL"].replace("@db:5432/fulling", there)
        assert there in url
        return {**given, "DATABASE_URL": url, "PATH": f"{BIN}:{os.environ['PATH']}"}

    def run(self, service: str, command: list[str], **more: str) -> str:
        environment = self.environment(service) | more
        result = subprocess.run(command, cwd=self.folder, env=environment, capture_output=True, text=True)
        assert result.returncode == 0, result.stdout + result.stderr
        return result.stdout

    def connect(self, role: str = "fulling_web") -> psycopg.Connection:
        return psycopg.connect(self.cluster.url("production", role))


@pytest.fixture(scope="module")
def site(cluster, tmp_path_factory) -> Site:
    with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
        connection.execute("CREATE ROLE fulling_owner LOGIN SUPERUSER")  # as the database's image makes it
        connection.execute("CREATE DATABASE production OWNER fulling_owner")
    site = Site(
        tmp_path_factory.mktemp("image"), cluster, compose(FULLING_HTTPS="no", FULLING_WEB_WORKERS="2")["services"]
    )
    lay_out_image(site.folder)
    for step in build_steps():
        subprocess.run(["sh", "-c", step], cwd=site.folder, env={"PATH": f"{BIN}:{os.environ['PATH']}"}, check=True)
    for _ in range(2):  # every start of the lab's server does this again
        site.run("migrate", as_list(site.services["migrate"]["command"]))
    return site


@pytest.fixture(scope="module")
def address(site):
    """Gunicorn, started by compose's command on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [part.replace("0.0.0.0:8000", f"127.0.0.1:{port}") for part in site.services["web"]["command"]]
    log = (site.folder / "log").open("w")
    server = subprocess.Popen(command, cwd=site.folder, env=site.environment("web"), stdout=log, stderr=log)
    try:
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0 or server.poll() is not None:
                    break
            time.sleep(0.1)
        assert server.poll() is None, Path(log.name).read_text()
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(20)
        log.close()


class NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args):
        return None


def get(address: str, path: str, host: str = HOST) -> tuple[int, str, dict]:
    request = urllib.request.Request(address + path, headers={"Host": host})
    try:
        answer = urllib.request.build_opener(NoRedirect).open(request, timeout=20)
    except urllib.error.HTTPError as error:
        answer = error
    with answer:
        return answer.status, answer.read().decode(errors="replace"), dict(answer.headers)


def test_the_house_says_it_is_well(address):
    assert get(address, "/healthz")[0] == 200


def test_the_health_check_of_compose_passes(site, address):
    program, *arguments = site.services["web"]["healthcheck"]["test"][1:]
    arguments[-1] = arguments[-1].replace("http://127.0.0.1:8000", address)
    assert program == "python"
    site.run("web", [sys.executable, *arguments])


def test_a_stranger_is_asked_to_sign_in(address):
    status, _, headers = get(address, "/")
    assert status == 302
    status, page, headers = get(address, headers["Location"])
    assert status == 200 and "password" in page
    assert "default-src 'self'" in headers["Content-Security-Policy"]


def test_static_files_come_with_lasting_names(address):
    _, page, _ = get(address, get(address, "/")[2]["Location"])
    paths = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page))
    assert paths
    for path in paths:
        status, _, headers = get(address, path)
        assert status == 200, path
        assert re.search(r"\.[0-9a-f]{12}\.", path) and "immutable" in headers["Cache-Control"], path


def test_another_host_name_is_refused(address):
    assert get(address, "/", host="evil.example")[0] == 400


def test_the_worker_does_its_round_as_the_web_role(site):
    command = as_list(site.services["worker"]["command"])
    site.run("worker", [*command, "--once"])


# What the web role may.

ENTRY = (
    "INSERT INTO trail_trailentry"
    " (stream, seq, kind, at, recorded_at, actor_name, facts, payload_sha256, prev_hash, hash)"
    " VALUES ('lab', 1, 'x', now(), now(), 'x', '{}', '', '', '')"
)
ALLOWED = [
    ENTRY,
    "SELECT * FROM trail_trailentry",
    "SELECT id FROM intake_job WHERE id = 1 FOR NO KEY UPDATE",
    "SELECT id FROM intake_request WHERE id = 1 FOR SHARE",
    "INSERT INTO trail_blob VALUES ('x', '', 0, 'x', now())",
    "UPDATE trail_trailstream SET seq = seq + 1, head = 'x'",
    "UPDATE accounts_lab SET name = 'x'",
    "DELETE FROM django_session",
]
REFUSED = [
    *(f"{act} {table}{rest}" for table in INSERT_ONLY for act, rest in [("DELETE FROM", ""), ("TRUNCATE", " CASCADE")]),
    "UPDATE trail_trailentry SET kind = 'y'",
    "UPDATE trail_blob SET content = ''",
    "UPDATE reporting_report SET facts = ''",
    "UPDATE reporting_reportfile SET kind = 'pdf'",
    "UPDATE reporting_reportrequest SET request_id = 1",
    "UPDATE reporting_amendment SET reason = 'y'",
    "UPDATE reporting_withdrawal SET reason = 'y'",
    "INSERT INTO trail_blob VALUES ('x', '', 0, 'x', now()) ON CONFLICT (sha256) DO UPDATE SET content = 'y'",
    "DELETE FROM trail_trailstream",
    "TRUNCATE intake_job CASCADE",
    "ALTER TABLE trail_trailentry DISABLE TRIGGER ALL",
    "ALTER TABLE trail_trailentry OWNER TO fulling_web",
    "DROP TRIGGER guard_trail_trailentry_insert_only_update ON trail_trailentry",
    "CREATE OR REPLACE FUNCTION guard_trail_trailentry_insert_only_update() RETURNS trigger LANGUAGE plpgsql AS"
    " 'BEGIN RETURN NEW; END'",
    "DROP TABLE trail_trailentry",
    "CREATE TABLE mine (x int)",
    "CREATE TEMPORARY TABLE mine (x int)",
    "CREATE SCHEMA mine",
    "CREATE ROLE mine",
    "ALTER ROLE fulling_web SUPERUSER",
    "SET ROLE fulling_owner",
    "SET session_replication_role = replica",
    "INSERT INTO django_migrations (app, name, applied) VALUES ('x', 'y', now())",
]


@pytest.mark.parametrize("statement", ALLOWED)
def test_the_web_role_may(site, statement):
    with site.connect() as connection:
        connection.execute(statement)
        connection.rollback()


@pytest.mark.parametrize("statement", REFUSED)
def test_the_web_role_may_not(site, statement):
    with site.connect() as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(statement)


def test_guards_can_hold_the_rows_they_look_at(site):
    """A guard that locks before looking does so with the rights of whoever writes."""
    tables = {query.split()[0] for guard in all_guards() for query in guard.lock_first}
    assert tables
    with site.connect() as connection:
        for table in tables:
            (may,) = connection.execute("SELECT has_table_privilege(%s, 'UPDATE')", [table]).fetchone()
            assert may, table


def test_a_table_made_later_is_read_only_until_grants_runs_again(site):
    with site.connect("fulling_owner") as connection:
        connection.execute("CREATE TABLE later (id serial, x int)")
    with site.connect() as connection:
        connection.execute("SELECT * FROM later")
    with site.connect() as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute("INSERT INTO later (x) VALUES (1)")
    site.run("migrate", shlex.split("python manage.py grants fulling_web"))
    with site.connect() as connection:
        connection.execute("INSERT INTO later (x) VALUES (1)")


def test_grants_refuses_the_owner(site):
    with pytest.raises(AssertionError, match="owns the tables"):
        site.run("migrate", shlex.split("python manage.py grants fulling_owner"), FULLING_WEB_PASSWORD="")
