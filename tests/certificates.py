"""Certificates for tests, made by the library `cryptography`: each signs itself, for 127.0.0.1 and a host's name."""

from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


def self_signed(folder: Path, name: str = "uplink", host: str = "shore.example", days: int = 30) -> tuple[Path, Path]:
    """Write NAME.pem and NAME.key into a folder; return both. The certificate ends in `days`, which may be past."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, host)])
    now = datetime.now(UTC)
    names = x509.SubjectAlternativeName([x509.DNSName(host), x509.IPAddress(ip_address("127.0.0.1"))])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=60))
        .not_valid_after(now + timedelta(days=days))
        .add_extension(names, critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    pem, secret = folder / f"{name}.pem", folder / f"{name}.key"
    pem.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    form, none = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    secret.touch(mode=0o600)
    secret.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, none))
    return pem, secret
