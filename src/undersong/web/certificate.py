"""A certificate made on the spot, so that the app can be opened to the network over TLS.

A browser lets a page use the microphone only over TLS. No public authority vouches for an address
in a house, so the app makes an authority of its own: it vouches for this computer's names and
addresses alone (name constraints), signs one certificate, and its key is thrown away at once, so
that nobody can ever make another. A phone that is told to trust it trusts nothing else by it.

References
----------
X.509 certificates and name constraints [RFC 5280, 4.2.1.10]; at most 825 days for a certificate
that a phone is told to trust, as makers of phones ask; 397 are used, as for public ones.
"""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from undersong.errors import UndersongError

DAYS = 397
RENEWED_BEFORE = timedelta(days=30)
_BACK = timedelta(days=1)  # a phone's clock may be behind
KEY_FILE, CHAIN_FILE = "network-key.pem", "network-certificate.pem"


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files to serve with.

    Attributes
    ----------
    chain, key
        PEM files: the certificate and who vouches for it; its private key.
    authority
        PEM of who vouches, for a phone to trust; empty where it is somebody else's.
    fingerprint
        SHA-256 of the certificate itself, in pairs, as browsers show it.
    """

    chain: Path
    key: Path
    authority: bytes
    fingerprint: str


def certificate_for(folder: Path, names: Sequence[str], *, now: datetime) -> Certificate:
    """The certificate in a folder; made anew where it is missing, old, or for other names."""
    chain, key = folder / CHAIN_FILE, folder / KEY_FILE
    if not (chain.is_file() and key.is_file() and _holds(chain.read_bytes(), names, now)):
        _make(chain, key, names, now)
    own, authority = x509.load_pem_x509_certificates(chain.read_bytes())
    return Certificate(
        chain, key, authority.public_bytes(serialization.Encoding.PEM), _fingerprint(own)
    )


def certificate_of(chain: Path, key: Path) -> Certificate:
    """A certificate somebody else made.

    Raises
    ------
    UndersongError
        If a file cannot be read, is no certificate or key, or the two do not belong together.
    """
    try:
        own = x509.load_pem_x509_certificates(chain.read_bytes())[0]
        private = serialization.load_pem_private_key(key.read_bytes(), password=None)
    except OSError as error:
        raise UndersongError(f"{error.filename} cannot be read: {error.strerror}.") from None
    except (ValueError, TypeError):
        raise UndersongError(
            f"{chain} and {key} should be a certificate and its key without a password, as PEM."
        ) from None
    if own.public_key() != private.public_key():
        raise UndersongError(f"The key {key} is not that of the certificate {chain}.")
    return Certificate(chain, key, b"", _fingerprint(own))


def _holds(pem: bytes, names: Iterable[str], now: datetime) -> bool:
    try:
        own, _ = x509.load_pem_x509_certificates(pem)
        stated = own.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    held = {str(each.value) for each in stated}
    return set(names) <= held and now + RENEWED_BEFORE < own.not_valid_after_utc


def _make(chain: Path, key: Path, names: Sequence[str], now: datetime) -> None:
    authority_key = ec.generate_private_key(ec.SECP256R1())  # never written down
    own_key = ec.generate_private_key(ec.SECP256R1())
    authority_name = _name("Undersong, on this computer alone")
    stated = [_general(each) for each in names]
    authority = (
        _begun(authority_name, authority_name, authority_key.public_key(), now)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(_allowed(names), None), critical=True)
        .add_extension(
            x509.SubjectKeyIdentifier.from_public_key(authority_key.public_key()), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    own = (
        _begun(_name("Undersong"), authority_name, own_key.public_key(), now)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(stated), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()),
            critical=False,
        )
        .sign(authority_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    private = own_key.private_bytes(
        pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    _write(key, private)
    _write(chain, own.public_bytes(pem) + authority.public_bytes(pem))


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _BACK)
        .not_valid_after(now + timedelta(days=DAYS))
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _general(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _allowed(names: Sequence[str]) -> list[x509.GeneralName]:
    """The names and addresses an authority may vouch for: these and no other."""
    allowed: list[x509.GeneralName] = []
    for name in names:
        try:
            allowed.append(x509.IPAddress(ipaddress.ip_network(name)))
        except ValueError:
            allowed.append(x509.DNSName(name))
    return allowed


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _write(file: Path, data: bytes) -> None:
    """Whole or not at all, and for nobody else to read."""
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as out:
            out.write(data)
        part.replace(file)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise UndersongError(f"{file} cannot be written: {error.strerror}.") from None


def _fingerprint(certificate: x509.Certificate) -> str:
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()
