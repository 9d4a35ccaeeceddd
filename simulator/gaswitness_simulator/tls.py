"""Modbus/TCP Security: the server's side of TLS, and the role that a client's certificate states.

MODBUS/TCP Security, MB-TCP-Security-v21 (2018), from memory: TLS 1.2 or newer, certificates on both
sides, one role a certificate, in an extension of its own.
"""

import ssl
from collections.abc import Iterator
from typing import Final

from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import TlsFiles

ROLE: Final = bytes.fromhex("2B060104018389 0C 8622 01")
"""Object identifier 1.3.6.1.4.1.50316.802.1 in DER (X.690 clause 8.19), tag and length aside."""

SEQUENCE, OBJECT_ID, OCTETS, UTF8, EXTENSIONS = 0x30, 0x06, 0x04, 0x0C, 0xA3


def server_context(files: TlsFiles) -> ssl.SSLContext:
    """TLS as a panel speaks it: TLS 1.2 or newer, and no client without a certificate.

    `files`: our certificate and key, and whom we trust to sign those of clients. Raises
    GaswitnessError where one is missing or cannot be used.
    """
    for name in ("ca", "cert", "key"):
        if not getattr(files, name):
            raise GaswitnessError(
                f"a tls link to be served needs {name}=: write "
                "tls://127.0.0.1:802?ca=clients-ca.pem&cert=panel.pem&key=panel.key"
            )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.verify_mode = ssl.CERT_REQUIRED
    try:
        context.load_cert_chain(files.cert, files.key, password=_no_password)
    except (OSError, ValueError) as error:
        raise GaswitnessError(
            f"cannot use {files.cert} with {files.key}: {error}. Give a PEM certificate, and its "
            "key without a password"
        ) from error
    try:
        context.load_verify_locations(files.ca)
    except (OSError, ValueError) as error:
        raise GaswitnessError(
            f"cannot trust {files.ca}: {error}. Give the PEM certificates of those who sign clients"
        ) from error
    return context


def _no_password() -> str:
    raise ValueError("the key has a password")


def role_of(certificate: bytes) -> str | None:
    """The role in a certificate (DER) that TLS has verified; None where it states none.

    Raises ValueError where the bytes are no certificate.
    """
    try:
        (whole,) = _parts(certificate)
        signed = next(_parts(whole[1]))
        for tag, content in _parts(signed[1]):
            if tag == EXTENSIONS:
                ((_, extensions),) = _parts(content)
                return _role_in(extensions)
    except (IndexError, StopIteration, ValueError) as error:
        raise ValueError("these bytes are no certificate") from error
    return None


def _role_in(extensions: bytes) -> str | None:
    for _, extension in _parts(extensions):
        (first, name), *_, (last, value) = _parts(extension)
        if (first, name, last) == (OBJECT_ID, ROLE, OCTETS):
            tag, text = next(_parts(value))
            return text.decode("utf-8") if tag == UTF8 else None
    return None


def _parts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """(tag, content) of the values that stand one after another (X.690 clause 8.1)."""
    at = 0
    while at < len(data):
        tag, size = data[at], data[at + 1]
        at += 2
        if size & 0x80:
            of_size = size & 0x7F
            size = int.from_bytes(data[at : at + of_size], "big")
            at += of_size
        if at + size > len(data):
            raise IndexError("a value goes past its end")
        yield tag, data[at : at + size]
        at += size
