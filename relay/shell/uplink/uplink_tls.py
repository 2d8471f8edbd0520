"""TLS at both ends of the link: TLS 1.3 alone, the shore's certificate from files, the ship's trust by a pin.

Rules: a pin is the SHA-256 of the certificate as it is sent (DER), and then neither name, date nor authority counts;
without a pin the system's authorities and the name do. OperatorError says which file is wrong, and how.
"""

import ssl
from hashlib import sha256
from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.site.tls_files import BEGINS, load_pair


def shore_tls(certificate: Path, key: Path) -> ssl.SSLContext:
    """Return how the shore's port speaks TLS."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_3
    context.num_tickets = 0  # every session proves itself anew, and a ticket costs the link
    load_pair(context, certificate, key)
    return context


def ship_tls(pin: bytes | None) -> ssl.SSLContext:
    """Return how the ship speaks TLS; with a pin, whoever answers is compared with it after the handshake."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_3
    if pin is None:
        context.load_default_certs()
    else:
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
    return context


def certificate_of(path: Path) -> bytes:
    """Return the first certificate (DER) of a PEM file: the one that a ship sees."""
    begin, end = BEGINS, BEGINS.replace("BEGIN", "END")
    try:
        text = path.read_text(encoding="ascii")
        return ssl.PEM_cert_to_DER_cert(text[text.index(begin) : text.index(end) + len(end)])
    except OSError as error:
        raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    except ValueError as error:
        raise OperatorError(f"{path} holds no certificate in PEM, where one begins with {begin}") from error


def pin_of(certificate: bytes) -> str:
    """Return what a ship writes to trust a certificate (DER)."""
    return f"sha256:{sha256(certificate).hexdigest()}"
