"""The certificate made on the spot, held against what RFC 5280 and Python's own `ssl` ask."""

from __future__ import annotations

import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from undersong.errors import UndersongError
from undersong.web.certificate import DAYS, certificate_for, certificate_of

NOW = datetime(2026, 11, 25, tzinfo=UTC)
NAMES = ["192.0.2.7", "bass-room", "127.0.0.1", "localhost"]


def test_it_vouches_for_these_names_alone_and_for_a_year(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, NAMES, now=NOW)
    own, authority = x509.load_pem_x509_certificates(made.chain.read_bytes())
    stated = own.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(each.value) for each in stated] == NAMES
    allowed = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    assert [str(each.value).removesuffix("/32") for each in allowed.permitted_subtrees or ()] == (
        NAMES
    )
    own.verify_directly_issued_by(authority)
    assert own.not_valid_after_utc - NOW == timedelta(days=DAYS)
    assert not own.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert authority.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert made.fingerprint.replace(":", "").lower() == own.fingerprint(hashes.SHA256()).hex()


def test_nobody_else_may_read_the_key_and_the_authoritys_is_nowhere(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, NAMES, now=NOW)
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted(
        (made.chain.name, made.key.name)
    )
    assert made.key.read_bytes().count(b"PRIVATE KEY-----") == 2  # one key: begun and ended
    ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(made.chain, made.key)


def test_it_stays_the_same_until_it_is_old_or_the_names_change(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, NAMES, now=NOW)
    assert certificate_for(tmp_path, NAMES[:2], now=NOW) == first
    later = certificate_for(tmp_path, NAMES, now=NOW + timedelta(days=DAYS - 20))
    assert later.fingerprint != first.fingerprint
    moved = certificate_for(tmp_path, [*NAMES, "192.0.2.8"], now=NOW + timedelta(days=DAYS - 20))
    assert moved.fingerprint != later.fingerprint


def test_a_broken_one_is_made_anew(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, NAMES, now=NOW)
    made.chain.write_text("nonsense")
    assert certificate_for(tmp_path, NAMES, now=NOW).fingerprint != made.fingerprint


def test_ones_own_is_checked_before_it_is_used(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, NAMES, now=NOW)
    other = tmp_path / "other"
    other.mkdir()
    stranger = certificate_for(other, NAMES, now=NOW)
    assert certificate_of(made.chain, made.key).fingerprint == made.fingerprint
    with pytest.raises(UndersongError, match="not that of the certificate"):
        certificate_of(made.chain, stranger.key)
    with pytest.raises(UndersongError, match="as PEM"):
        certificate_of(made.key, made.key)
    with pytest.raises(UndersongError, match="cannot be read"):
        certificate_of(tmp_path / "none", made.key)
