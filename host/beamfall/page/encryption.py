"""TLS for the page on a network: a certificate of this computer's own, made at the first start and kept.

No authority has signed it, so a browser warns once; compare the printed fingerprint with the one the browser shows.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import ipaddress
import ssl
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from beamfall.errors import BeamfallError, MissingExtra, UserError
from beamfall.files import explain_write, write_whole
from beamfall.places import find_log

_VALID_DAYS = 800  # some systems refuse certificates that are valid for over 825 days
_RENEW_DAYS = 30
_FILE = "page-certificate.pem"


@dataclass(frozen=True)
class Certificate:
    """A certificate with its key in one file, which only its user may read."""

    file: Path
    fingerprint: str  # SHA-256, as browsers write it

    def make_context(self) -> ssl.SSLContext:
        """Return what a server encrypts with; raises UserError."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        with _explain_damage(self.file):
            context.load_cert_chain(self.file)
        return context


def get_certificate(names: Iterable[str]) -> Certificate:
    """Return this computer's certificate, made for these names and addresses if there is none or it ends soon.

    Raises UserError, MissingExtra, FileWriteError.
    """
    file = find_log().parent / _FILE
    with _explain_damage(file):
        if not file.exists() or _ends_soon(file):
            _make(file, names)
        return Certificate(file, _read_fingerprint(file))


@contextlib.contextmanager
def _explain_damage(file: Path) -> Iterator[None]:
    """Turn a problem with an existing certificate into a UserError with the cure."""
    try:
        yield
    except BeamfallError:
        raise
    except (OSError, ValueError) as error:  # of SSL too
        raise UserError(
            f"the page's certificate {file} cannot be read: remove it, and a new one is made"
        ) from error


def _ends_soon(file: Path) -> bool:
    from cryptography import x509

    found = x509.load_pem_x509_certificate(file.read_bytes())
    left = found.not_valid_after_utc - datetime.datetime.now(datetime.UTC)
    return left < datetime.timedelta(days=_RENEW_DAYS)


def _read_fingerprint(file: Path) -> str:
    text = file.read_text("ascii")
    begin = text.index("-----BEGIN CERTIFICATE-----")
    digest = hashlib.sha256(ssl.PEM_cert_to_DER_cert(text[begin:].strip())).hexdigest().upper()
    return ":".join(digest[at : at + 2] for at in range(0, len(digest), 2))


def _make(file: Path, names: Iterable[str]) -> None:
    try:
        from cryptography import x509
        from cryptography.hazmat.primitives import hashes, serialization
        from cryptography.hazmat.primitives.asymmetric import ec
    except ImportError as error:
        raise MissingExtra(
            "--tls makes a certificate with 'cryptography', which is not installed: pip install 'beamfall[tls]'"
        ) from error
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Beamfall bench page")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=_VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName([_name(one) for one in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    encoding = serialization.Encoding.PEM
    secret = key.private_bytes(
        encoding, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    with explain_write(file):
        file.parent.mkdir(parents=True, exist_ok=True)
    with write_whole(file) as part:
        part.chmod(0o600)  # before the key is in it
        part.write_bytes(secret + made.public_bytes(encoding))


def _name(text: str) -> Any:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(text))
    except ValueError:
        return x509.DNSName(text)
