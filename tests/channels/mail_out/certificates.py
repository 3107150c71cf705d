"""A certificate authority of the tests' own, and what it has signed: good, for another name, out of date."""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Authority:
    """`ca_file` is what a client must trust; `server(...)` is what a server shows."""

    folder: Path
    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    @property
    def ca_file(self) -> Path:
        return self.folder / "ca.pem"

    def server(self, name: str = "localhost", *, days: tuple[int, int] = (-1, 30)) -> ssl.SSLContext:
        """A server's context, with a certificate for `name` that holds from and to so many days from now."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.server_file(name, days=days))
        return context

    def server_file(self, name: str = "localhost", *, days: tuple[int, int] = (-1, 30)) -> Path:
        """The file with such a certificate and its key."""
        key = ec.generate_private_key(ec.SECP256R1())
        now = datetime.now(UTC)
        made = (
            x509.CertificateBuilder()
            .subject_name(_name(name)).issuer_name(self.certificate.subject)
            .public_key(key.public_key()).serial_number(x509.random_serial_number())
            .not_valid_before(now + days[0] * _DAY).not_valid_after(now + days[1] * _DAY)
            .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self.key.public_key()), critical=False
            )
            .sign(self.key, hashes.SHA256())
        )  # fmt: skip
        file = self.folder / f"{made.serial_number}.pem"
        file.write_bytes(
            made.public_bytes(serialization.Encoding.PEM)
            + key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
        return file


def authority(folder: Path) -> Authority:
    """A new authority, whose certificate lies in the folder."""
    key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(_name("authority.example")).issuer_name(_name("authority.example"))
        .public_key(key.public_key()).serial_number(x509.random_serial_number())
        .not_valid_before(now - 9 * _DAY).not_valid_after(now + 30 * _DAY)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.KeyUsage(
                digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
                key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
            ),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    found = Authority(folder, key, made)
    found.ca_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return found


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])
