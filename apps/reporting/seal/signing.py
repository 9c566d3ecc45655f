"""Sealing a file: PAdES, certified so that no later change of the file passes."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import TypeVar

from cryptography.hazmat.primitives import serialization
from pyhanko.keys import load_certs_from_pemder_data, load_private_key_from_pemder_data
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
from pyhanko_certvalidator.registry import SimpleCertificateStore

from apps.reporting.seal.keys import Seal

T = TypeVar("T")
FIELD = "LaboratorySeal"


class _Added(IncrementalPdfFileWriter):
    """Adds the seal and nothing else. What the file says of itself was checked, and stays as it was."""

    def _update_meta(self) -> None:
        pass


def sealed(content: bytes, seal: Seal, *, reason: str, place: str) -> bytes:
    """The file with the lab's seal added behind it; the bytes before stay as they are."""
    about = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        name=seal.subject,
        reason=reason,
        location=place or None,
        subfilter=SigSeedSubFilter.PADES,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    out, signer = BytesIO(), signers.PdfSigner(about, signer=_signer(seal))
    apart(lambda: signer.sign_pdf(_Added(BytesIO(content)), output=out))
    return out.getvalue()


def apart(act: Callable[[], T]) -> T:
    """In a thread of its own: the library begins an event loop, which one that runs in this thread would not allow."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(act).result()


def _signer(seal: Seal) -> signers.SimpleSigner:
    pem = serialization.Encoding.PEM
    key = seal.key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    (certificate,) = load_certs_from_pemder_data(seal.certificate.public_bytes(pem))
    return signers.SimpleSigner(
        signing_cert=certificate,
        signing_key=load_private_key_from_pemder_data(key, passphrase=None),
        cert_registry=SimpleCertificateStore(),
    )
