"""The files for a lab's own server say what they must. No engine runs here; test_production.py runs their commands."""

import json

import pytest
from django.core.management import get_commands

from tests.deployment import ENVIRONMENT, ROOT, Unset, as_list, compose, copied, dockerfile, ignored

pytestmark = pytest.mark.once
OURS = ("migrate", "web", "worker")


@pytest.fixture(scope="module")
def services() -> dict:
    return compose()["services"]


def test_the_services(services):
    assert set(services) == {"db", *OURS}
    assert services["db"]["image"] == "postgres:17"


@pytest.mark.parametrize("name", sorted(ENVIRONMENT))
def test_nothing_starts_without_its_secrets(name):
    with pytest.raises(Unset, match=name):
        compose(**{name: ""})


def test_no_secret_is_written_down():
    text = (ROOT / "docker-compose.yml").read_text()
    for line in text.splitlines():
        if ("PASSWORD:" in line or "SECRET_KEY:" in line) and not line.startswith("#"):
            assert "${FULLING_" in line


@pytest.mark.parametrize("name", OURS)
def test_ours_are_built_from_here_and_bound_hand_and_foot(services, name):
    service = services[name]
    assert service["build"] == {"context": ".", "dockerfile": "labsite/Dockerfile"}
    assert (ROOT / service["build"]["dockerfile"]).is_file()
    assert service["environment"]["FULLING_MODE"] == "production"
    assert service["read_only"] and service["cap_drop"] == ["ALL"]


def test_the_web_role_is_not_the_owner(services):
    urls = {name: services[name]["environment"]["DATABASE_URL"] for name in OURS}
    assert urls["migrate"] == "postgres://fulling_owner:owner@db:5432/fulling"
    assert urls["web"] == urls["worker"] == "postgres://fulling_web:web@db:5432/fulling"
    assert services["db"]["environment"]["POSTGRES_USER"] == "fulling_owner"
    assert "owner" not in json.dumps(services["web"]) + json.dumps(services["worker"])


def test_the_order_of_starting(services):
    assert services["migrate"]["depends_on"] == {"db": {"condition": "service_healthy"}}
    assert services["migrate"]["restart"] == "no"
    for name in ("web", "worker"):
        assert services[name]["depends_on"]["migrate"]["condition"] == "service_completed_successfully"
    assert "pg_isready" in services["db"]["healthcheck"]["test"]
    assert "/healthz" in services["web"]["healthcheck"]["test"][-1]


def test_the_data_outlives_its_container(services):
    assert services["db"]["volumes"] == ["database:/var/lib/postgresql/data"]
    assert "database" in compose()["volumes"]


def test_the_seal_comes_in_read_only_and_only_when_there_is_one():
    for folder, certificate in (("", ""), ("./seal", "/seal/seal.pem")):
        web = compose(FULLING_SEAL_FOLDER=folder)["services"]["web"]
        assert web["volumes"] == [f"{folder or 'seal'}:/seal:ro"]
        assert web["environment"]["FULLING_SEAL_CERTIFICATE"] == certificate


def test_the_commands(services):
    migrate = as_list(services["migrate"]["command"])[-1]
    assert migrate == "python manage.py migrate --noinput && python manage.py grants fulling_web"
    assert services["web"]["command"][:2] == ["gunicorn", "labsite.wsgi:application"]
    assert services["worker"]["command"] == ["python", "manage.py", "worker"]
    assert {"migrate", "grants", "worker"} <= set(get_commands())


def test_the_port_is_for_a_proxy_on_this_machine(services):
    assert services["web"]["ports"] == ["127.0.0.1:8000:8000"]


def test_the_image():
    lines = dockerfile()
    assert lines[0] == ("FROM", "python:3.11-slim")
    order = [instruction for instruction, _ in lines]
    user = dict(lines)["USER"]
    assert user not in ("root", "0") and order.index("USER") < order.index("CMD")
    assert any(rest.startswith("pip install") and "-r requirements.txt" in rest for _, rest in lines)
    assert any("collectstatic" in rest for instruction, rest in lines if instruction == "RUN")
    assert json.loads(dict(lines)["CMD"])[0] == "gunicorn"
    assert not any("SECRET" in rest for instruction, rest in lines if instruction in ("ENV", "ARG"))


def test_the_image_is_made_of_the_house_and_nothing_else():
    assert set(copied()) == {"requirements.txt", "manage.py", "labsite", "apps", "templates", "static"}
    for name in copied():
        assert (ROOT / name).exists() and not ignored(name), name
    for name in (".git", ".venv", ".data", ".env", "tests", "docker-compose.yml", "staticfiles"):
        assert ignored(name), name
