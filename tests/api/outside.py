"""Schemathesis and a validator of OpenAPI documents, in an environment of their own that is made on demand.

It is made once for what tests/api/schemathesis.txt asks for, beside our own environment, and never committed.
"""

import fcntl
import subprocess
import sys
from pathlib import Path

from tests.house_rules import ROOT

WANTED = Path(__file__).with_name("schemathesis.txt")
FOLDER = ROOT / ".cache" / "schemathesis"
PYTHON = FOLDER / "bin" / "python"
PATIENCE = 300


class CannotBeMade(Exception):
    """No package index can be reached, or it has not what is asked for."""


def environment() -> Path:
    """The interpreter of the environment; whoever comes while it is being made waits."""
    marker, wanted = FOLDER / "made-for", f"{sys.version}\n{WANTED.read_text()}"
    FOLDER.parent.mkdir(exist_ok=True)
    with open(FOLDER.parent / "schemathesis.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not marker.exists() or marker.read_text() != wanted:
            _do(sys.executable, "-m", "venv", "--clear", str(FOLDER))
            _do(str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r", str(WANTED))
            marker.write_text(wanted)
    return PYTHON


def _do(*command: str) -> None:
    try:
        result = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE)
    except subprocess.TimeoutExpired as error:
        raise CannotBeMade(f"{command[0]}: not done in {PATIENCE} s") from error
    if result.returncode:
        raise CannotBeMade(result.stderr.strip()[-1000:])


# What a schema cannot say (a wrong check character, a pair that is not there) may be refused as well.
CONFIG = """
[checks.positive_data_acceptance]
expected-statuses = ["2xx", "401", "403", "404", "409", "422"]
"""


def validate(document: Path) -> str:
    """What another reader of OpenAPI finds wrong with the document; nothing when it is valid."""
    command = [str(environment()), "-m", "openapi_spec_validator", str(document)]
    result = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE)
    return "" if result.returncode == 0 else result.stdout + result.stderr


def ask_at_random(
    document: Path, address: str, token: str, *, examples: int, seed: int, borders: bool = True, only: str = ""
) -> tuple[bool, str]:
    """Whether every answer was as documented, and what schemathesis says. `examples`: of each operation, drawn at
    random; with `borders` also each limit of the document from both sides."""
    config = document.with_name("schemathesis.toml")
    config.write_text(CONFIG)
    command = [str(environment()), "-m", "schemathesis.cli", "--config-file", str(config), "run", str(document)]
    command += ["--url", address, "-H", f"Authorization: Bearer {token}", "--max-examples", str(examples)]
    command += ["--seed", str(seed), "--generation-database", "none", "--no-shrink", "--continue-on-failure"]
    command += ["--phases", "examples,coverage,fuzzing" if borders else "fuzzing", "--no-color", "--warnings", "off"]
    command += ["--include-operation-id", only] if only else []
    result = subprocess.run(command, capture_output=True, text=True, cwd=document.parent)
    return result.returncode == 0, result.stdout + result.stderr
