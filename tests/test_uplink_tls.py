"""TLS at both ends of the link: what is spoken, and what is said of files that can't be used."""

import ssl
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes

from certificates import self_signed
from relay.core.errors import OperatorError
from relay.shell.uplink.uplink_tls import certificate_of, pin_of, ship_tls, shore_tls


def test_pin_is_the_fingerprint_that_others_compute(tmp_path: Path) -> None:
    """The pin is the SHA-256 fingerprint of the certificate, as the library `cryptography` has it."""
    certificate, _ = self_signed(tmp_path)
    fingerprint = x509.load_pem_x509_certificate(certificate.read_bytes()).fingerprint(hashes.SHA256())
    assert pin_of(certificate_of(certificate)) == f"sha256:{fingerprint.hex()}"


def test_nothing_older_than_tls_1_3_is_spoken(tmp_path: Path) -> None:
    """Both ends are ours, so there is no need for anything older (RFC 8446)."""
    for context in (shore_tls(*self_signed(tmp_path)), ship_tls(None), ship_tls(bytes(32))):
        assert context.minimum_version is ssl.TLSVersion.TLSv1_3
    assert ship_tls(None).verify_mode is ssl.CERT_REQUIRED and ship_tls(None).check_hostname


def test_file_that_cannot_be_used_is_told_of(tmp_path: Path) -> None:
    """A missing file, one that holds no certificate, and a key of another certificate each have their words."""
    certificate, key = self_signed(tmp_path)
    other = self_signed(tmp_path, "other")[1]
    with pytest.raises(OperatorError, match=r"missing\.pem can't be read: No such file"):
        shore_tls(tmp_path / "missing.pem", key)
    with pytest.raises(OperatorError, match="holds no certificate in PEM"):
        shore_tls(key, key)
    with pytest.raises(OperatorError, match="don't belong together"):
        shore_tls(certificate, other)
    with pytest.raises(OperatorError, match="No such file"):
        shore_tls(certificate, tmp_path / "missing.key")
