"""A seal for tests: made in a folder of its own, the house's settings point at it."""

import contextlib
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from django.test import override_settings

from apps.reporting.facts import Facts
from apps.reporting.pdf import build
from apps.reporting.seal import keys
from apps.reporting.seal.signing import sealed
from tests.reporting import paper

MADE = datetime(2026, 1, 5, tzinfo=UTC)


def a_seal(folder: Path, name: str = "Walkstube, invented") -> keys.Seal:
    return keys.make_own(certificate=folder / f"{name}.pem", key=folder / f"{name}-key.pem", name=name, now=MADE)


@contextlib.contextmanager
def in_use(name: str = "Walkstube, invented") -> Iterator[keys.Seal]:
    """The house seals with this one."""
    with tempfile.TemporaryDirectory() as folder:
        seal = a_seal(Path(folder), name)
        paths = {"SEAL_CERTIFICATE": f"{folder}/{name}.pem", "SEAL_KEY": f"{folder}/{name}-key.pem"}
        with override_settings(**paths, SEAL_PASSWORD=""):
            yield seal


def a_file(seal: keys.Seal, facts: dict | None = None) -> bytes:
    return sealed(build(Facts(facts or paper.facts())), seal, reason="reviewed and authorised", place="")
