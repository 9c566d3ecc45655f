"""docker-compose.yml and labsite/Dockerfile read as Docker reads them, as far as tests need it."""

import fnmatch
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import yaml

from tests.house_rules import ROOT

ENVIRONMENT = {
    "FULLING_SECRET_KEY": "a key for tests, as long as a real one has to be, and no other use",
    "FULLING_HOSTS": "lab.example, .lab.example",
    "FULLING_OWNER_PASSWORD": "owner",
    "FULLING_WEB_PASSWORD": "web",
}
VARIABLE = re.compile(r"\$\{(?P<name>\w+)(?P<how>:[?+-])?(?P<rest>[^}]*)\}")


class Unset(Exception):
    """A variable that compose refuses to start without."""


def fill_in(value: Any, environment: dict[str, str]) -> Any:
    """`${NAME}`, `${NAME:-default}`, `${NAME:+when it is set}` and `${NAME:?sentence}` in every string."""
    if isinstance(value, dict):
        return {key: fill_in(item, environment) for key, item in value.items()}
    if isinstance(value, list):
        return [fill_in(item, environment) for item in value]

    def one(match: re.Match) -> str:
        given = environment.get(match["name"])
        if match["how"] == ":+":
            return match["rest"] if given else ""
        if given:
            return given
        if match["how"] == ":?":
            raise Unset(f"{match['name']}: {match['rest']}")
        return match["rest"]

    return VARIABLE.sub(one, value) if isinstance(value, str) else value


def compose(**environment: str) -> dict[str, Any]:
    raw = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    return fill_in(raw, ENVIRONMENT | environment)


def dockerfile() -> list[tuple[str, str]]:
    """(instruction, rest) of each line, continued lines joined."""
    text = (ROOT / "labsite" / "Dockerfile").read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    return [(line.split(None, 1)[0], line.split(None, 1)[1]) for line in lines]


def ignored(name: str) -> bool:
    """Whether .dockerignore keeps a top-level name out of the build; the last line that fits decides."""
    verdict = False
    for line in (ROOT / ".dockerignore").read_text().splitlines():
        if line and not line.startswith("#") and fnmatch.fnmatch(name, line.lstrip("!")):
            verdict = not line.startswith("!")
    return verdict


def copied() -> list[str]:
    """What the image gets from the checkout."""
    return [rest.split()[0] for instruction, rest in dockerfile() if instruction == "COPY"]


def lay_out_image(folder: Path) -> None:
    """A folder with what the image would hold."""
    for name in copied():
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, folder / name)


def build_steps() -> list[str]:
    """The image's own commands after its packages are in."""
    return [rest for instruction, rest in dockerfile() if instruction == "RUN" and "manage.py" in rest]


def as_list(command: str | list[str]) -> list[str]:
    return shlex.split(command) if isinstance(command, str) else command
