"""The seal: checked by poppler's pdfsig as well, and broken by every change of the file."""

import copy
import os
import random
import re
import subprocess
import sys
from io import BytesIO

import pikepdf
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from django.core.management import CommandError, call_command
from django.test import override_settings

from apps.reporting.facts import Facts
from apps.reporting.pdf import build, check_archivable, pages
from apps.reporting.pdf.archive import archived
from apps.reporting.seal import keys
from apps.reporting.seal.checking import NotValid, check_seal, examine
from apps.reporting.seal.signing import sealed
from tests.house_rules import ROOT
from tests.reporting import paper
from tests.reporting.sealing import MADE, a_file, a_seal

pytestmark = pytest.mark.once


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("seal")


@pytest.fixture(scope="module")
def seal(folder) -> keys.Seal:
    return a_seal(folder)


@pytest.fixture(scope="module")
def trusted(seal) -> bytes:
    return seal.certificate.public_bytes(serialization.Encoding.PEM)


@pytest.fixture(scope="module")
def file(seal) -> bytes:
    return a_file(seal)


def failed(content: bytes, trusted: bytes) -> list[str]:
    return [check.what for check in examine(content, trusted).checks if not check.holds]


def test_passes_as_it_was_made(file, trusted):
    found = examine(file, trusted)
    assert found.valid and found.number == "26-00147N-01" and len(found.checks) == 4


def test_nothing_before_the_seal_is_changed_by_it(file):
    assert file.startswith(build(Facts(paper.facts())))
    check_archivable(file)


def test_poppler_agrees(file, tmp_path):
    path = tmp_path / "sealed.pdf"
    path.write_bytes(file)
    told = subprocess.run(["pdfsig", str(path)], capture_output=True, text=True).stdout
    assert "Signature is Valid." in told and "Total document signed" in told
    assert "ETSI.CAdES.detached" in told and "SHA-256" in told
    broken = bytearray(file)
    broken[len(file) // 2] ^= 1
    path.write_bytes(broken)
    assert "Signature is Valid." not in subprocess.run(["pdfsig", str(path)], capture_output=True, text=True).stdout


def signed_ranges(content: bytes) -> list[range]:
    (numbers,) = re.findall(rb"/ByteRange \[(\d+) (\d+) (\d+) (\d+)\s*\]", content)
    a, b, c, d = map(int, numbers)
    return [range(a, a + b), range(c, c + d)]


def test_five_hundred_changed_bytes_and_none_passes(file, trusted):
    chance = random.Random(26_001_47)
    places = [place for signed in signed_ranges(file) for place in signed]
    assert len(places) > 0.9 * len(file)
    passed = []
    for place in chance.sample(places, 500):
        changed = bytearray(file)
        changed[place] = chance.choice([value for value in range(256) if value != file[place]])
        try:
            check_seal(bytes(changed), trusted)
            passed.append(place)
        except Exception:  # whatever goes wrong, it does not pass
            continue
    assert passed == []


def test_what_is_added_behind_does_not_pass(file, trusted):
    assert "Seal" in failed(file + b"\n% more", trusted)
    with pikepdf.open(BytesIO(file)) as pdf:
        pdf.docinfo["/Title"] = "Another"
        out = BytesIO()
        pdf.save(out)
    assert "Seal" in failed(out.getvalue(), trusted)


def test_another_certificate_does_not_pass(file, trusted, folder):
    other = a_seal(folder, "Walkstube, a namesake")
    assert failed(file, other.certificate.public_bytes(serialization.Encoding.PEM)) == ["Seal"]
    assert failed(a_file(other), trusted) == ["Seal"]
    both = trusted + other.certificate.public_bytes(serialization.Encoding.PEM)
    assert failed(file, both) == failed(a_file(other), both) == []


def test_no_seal_and_two_seals_do_not_pass(file, trusted):
    assert failed(build(Facts(paper.facts())), trusted) == ["Seal"]


@pytest.mark.parametrize("content", [b"", b"%PDF-1.7", b"\x00" * 999, "🧺".encode() * 99, b"%PDF-1.7\n" + b"9" * 9999])
def test_a_strangers_file_is_not_valid(content, trusted):
    found = examine(content, trusted)
    assert not found.valid and not any(check.holds for check in found.checks)


def test_sealed_readings_that_do_not_give_the_figures_are_found_out(seal, trusted):
    """Even the laboratory's own seal does not make a wrong figure right."""
    facts = paper.facts()
    facts["requests"][0]["specimens"][0]["pairs"][0]["readings"][1]["mm"] = "200.000000"
    told = a_file(seal, facts)
    assert failed(told, trusted) == ["Figures reckoned anew"]
    facts = paper.facts()
    facts["requests"][0]["results"][0]["reported"] = "-9.9"
    assert failed(a_file(seal, facts), trusted) == ["Figures reckoned anew"]
    facts = paper.facts()
    facts["requests"][0]["specimens"][0]["pairs"][0]["readings"][1]["text"] = "245.9"
    assert failed(a_file(seal, facts), trusted) == ["Figures reckoned anew"]


def test_pages_that_say_something_else_than_the_attachments_are_found_out(seal, trusted):
    shown = paper.facts()
    shown["requests"][0]["results"][0]["reported"] = "-0.1"
    content = archived(pages(Facts(shown)), Facts(paper.facts()))
    assert failed(sealed(content, seal, reason="x", place=""), trusted) == ["Printed figures"]


def test_what_was_set_aside_or_put_right_does_not_count(seal, trusted):
    facts = paper.facts()
    pair = facts["requests"][0]["specimens"][0]["pairs"][0]
    old = copy.deepcopy(pair["readings"][1])
    pair["superseded"] = [{**old, "text": "1", "mm": "1.000000", "voided_by": "Bea", "reason": "slip"}]
    pair["superseded"][0]["voided_at"] = old["at"]
    assert failed(a_file(seal, facts), trusted) == []


def test_the_command_needs_no_database(file, seal, folder, tmp_path):
    path = tmp_path / "report.pdf"
    path.write_bytes(file)
    certificate = folder / "Walkstube, invented.pem"
    environment = {
        "PATH": os.environ["PATH"],
        "FULLING_DATA": str(tmp_path / "nothing"),
        "DATABASE_URL": "postgres://nobody:x@127.0.0.1:9/nothing",
    }
    command = [sys.executable, "manage.py", "verify", str(path), "--certificate", str(certificate)]
    told = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert told.returncode == 0, told.stderr
    assert "Valid: report 26-00147N-01" in told.stdout and told.stdout.count("ok ") == 4
    path.write_bytes(file[:-9] + b"x" * 9)
    told = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert told.returncode == 1 and "NO  Seal" in told.stdout and "not valid" in told.stderr
    command[3] = str(tmp_path / "not-there.pdf")
    told = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert told.returncode == 1 and "No such file" in told.stderr and "Traceback" not in told.stderr


def test_the_lab_makes_its_own(tmp_path, capsys):
    paths = {"SEAL_CERTIFICATE": str(tmp_path / "seal.pem"), "SEAL_KEY": str(tmp_path / "seal-key.pem")}
    with override_settings(**paths, SEAL_PASSWORD="invented"):
        assert keys.the_seal() is None and keys.told() is None
        call_command("seal", name="Walkstube")
        assert "no qualified one" in capsys.readouterr().out
        seal = keys.the_seal()
        assert seal.is_own and keys.told() == {"subject": "Walkstube", "issuer": "", "fingerprint": seal.fingerprint}
        assert (tmp_path / "seal-key.pem").stat().st_mode & 0o777 == 0o600
        assert b"ENCRYPTED" in (tmp_path / "seal-key.pem").read_bytes()
        with pytest.raises(CommandError, match="already"):
            call_command("seal", name="Walkstube")
        call_command("seal", name="Walkstube", keep=True)
        assert keys.the_seal() == seal
    with override_settings(**paths, SEAL_PASSWORD="wrong"), pytest.raises(keys.NoSeal, match="cannot be read"):
        keys.the_seal()


def test_a_key_that_is_not_the_certificates_is_refused(tmp_path):
    one, other = a_seal(tmp_path, "one"), a_seal(tmp_path, "other")
    assert one != other
    with (
        override_settings(SEAL_CERTIFICATE=str(tmp_path / "one.pem"), SEAL_KEY=str(tmp_path / "other-key.pem")),
        pytest.raises(keys.NoSeal, match="does not belong"),
    ):
        keys.the_seal()
    pem, pkcs8 = serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8
    private = ec.generate_private_key(ec.SECP384R1())
    (tmp_path / "p384.pem").write_bytes(private.private_bytes(pem, pkcs8, serialization.NoEncryption()))
    with (
        override_settings(SEAL_CERTIFICATE=str(tmp_path / "one.pem"), SEAL_KEY=str(tmp_path / "p384.pem")),
        pytest.raises(keys.NoSeal, match="P-256"),
    ):
        keys.the_seal()


def test_long_after_the_certificate_ended_the_file_still_passes(trusted, file):
    """What counts is the very certificate, not its last day: records are kept longer than certificates hold."""
    assert MADE.year == 2026 and check_seal(file, trusted).startswith("unbroken")


def test_the_reason_is_a_sentence(file, folder):
    other = a_seal(folder, "a third").certificate.public_bytes(serialization.Encoding.PEM)
    with pytest.raises(NotValid, match="not the laboratory's"):
        check_seal(file, other)
