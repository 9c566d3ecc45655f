"""The certificate and key that files are sealed with: named in the settings, or made by a lab for itself."""

import os
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from django.conf import settings

from apps.core.errors import Refusal

YEARS = 15  # a lab's own certificate outlives the time that its records are kept for


class NoSeal(Refusal):
    """The certificate or its key cannot be used; the sentence says why."""

    code = "no_seal"


@dataclass(frozen=True)
class Seal:
    """A certificate with its private key. `fingerprint`: SHA-256 of the certificate."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    @property
    def fingerprint(self) -> str:
        return self.certificate.fingerprint(hashes.SHA256()).hex()

    @property
    def subject(self) -> str:
        names = self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        return str(names[0].value) if names else self.certificate.subject.rfc4514_string()

    @property
    def is_own(self) -> bool:
        """Issued by the lab to itself."""
        return self.certificate.subject == self.certificate.issuer


def the_seal() -> Seal | None:
    """What this lab seals with; None when it has no certificate."""
    certificate, key = Path(settings.SEAL_CERTIFICATE or "/"), Path(settings.SEAL_KEY or "/")
    if not (certificate.is_file() and key.is_file()):
        return None
    return _read(certificate, key, settings.SEAL_PASSWORD, certificate.stat().st_mtime_ns, key.stat().st_mtime_ns)


@cache
def _read(certificate: Path, key: Path, password: str, *_: int) -> Seal:
    try:
        found = x509.load_pem_x509_certificate(certificate.read_bytes())
        private = serialization.load_pem_private_key(key.read_bytes(), password.encode() or None)
    except (ValueError, TypeError, OSError) as error:
        raise NoSeal(f"The seal's certificate or key cannot be read: {error}") from error
    if not isinstance(private, ec.EllipticCurvePrivateKey) or not isinstance(private.curve, ec.SECP256R1):
        raise NoSeal("The seal's key must be an elliptic one on the curve P-256.")
    if private.public_key() != found.public_key():
        raise NoSeal("The seal's key does not belong to its certificate.")
    return Seal(found, private)


def certificates(path: Path) -> list[x509.Certificate]:
    """The public certificates in a PEM file: a lab that changed its certificate keeps the old ones there too."""
    return x509.load_pem_x509_certificates(path.read_bytes())


def make_own(*, certificate: Path, key: Path, name: str, now: datetime, password: str = "") -> Seal:
    """A key and a certificate that the lab issues to itself. Files that are there are left as they are."""
    if certificate.exists() or key.exists():
        raise NoSeal(f"There is a certificate or key already: {certificate}, {key}.")
    private = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])
    built = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=365 * YEARS))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_only_for_signing(), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(private.public_key()), critical=False)
        .sign(private, hashes.SHA256())
    )
    hidden = serialization.BestAvailableEncryption(password.encode()) if password else serialization.NoEncryption()
    pem = private.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, hidden)
    for path, content, mode in (
        (key, pem, 0o600),
        (certificate, built.public_bytes(serialization.Encoding.PEM), 0o644),
    ):
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode), "wb") as file:
            file.write(content)
    return Seal(built, private)


def _only_for_signing() -> x509.KeyUsage:
    other = dict.fromkeys(
        ("key_encipherment", "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign"), False
    )
    return x509.KeyUsage(
        digital_signature=True, content_commitment=True, encipher_only=False, decipher_only=False, **other
    )


def told() -> dict[str, str] | None:
    """What a report says of the seal that its file will carry; None without one."""
    seal = the_seal()
    if seal is None:
        return None
    return {
        "subject": seal.subject,
        "issuer": "" if seal.is_own else seal.certificate.issuer.rfc4514_string(),
        "fingerprint": seal.fingerprint,
    }
