"""Modbus/TCP Security: a TCP connection under TLS 1.2 or newer, and why a handshake fails, in words
that say what to do about it."""

import asyncio
import ssl
from pathlib import Path
from typing import Final

from gaswitness_probe.errors import NoConnection
from gaswitness_probe.transport import Incoming, TcpTransport
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import TlsFiles


class TlsFilesError(GaswitnessError):
    """A file of the secured link is missing or is not what it should be."""


def tls_context(files: TlsFiles) -> ssl.SSLContext:
    """What to trust and who we are. Without `ca` the system's authorities are trusted.

    Raises TlsFilesError that names the file. Versions below 1.2 are never spoken, as Modbus/TCP
    Security has it; the peer's certificate must be valid for the host that is asked.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if files.ca:
        _readable("ca", files.ca)
        try:
            context.load_verify_locations(files.ca)
        except ssl.SSLError as error:
            raise TlsFilesError(
                f"{files.ca}: holds no certificate that can be read: ca= wants the PEM file of the "
                "authority that signed the panel's certificate"
            ) from error
    else:
        context.load_default_certs()
    if files.cert or files.key:
        _own(context, files)
    return context


def _readable(option: str, name: str) -> None:
    try:
        Path(name).read_bytes()
    except OSError as error:
        raise TlsFilesError(
            f"{name}: cannot be read ({error.strerror}): {option}= wants the path of a PEM file, "
            "from the working folder"
        ) from error


def _own(context: ssl.SSLContext, files: TlsFiles) -> None:
    if not files.cert:
        raise TlsFilesError(
            f"{files.key}: a key without a certificate: give cert=, the PEM file that the panel's "
            "owner issued for this client"
        )
    _readable("cert", files.cert)
    if files.key:
        _readable("key", files.key)
    locked = []

    def password() -> str:
        locked.append(files.key or files.cert)
        return ""

    try:
        context.load_cert_chain(files.cert, files.key or None, password)
    except (ssl.SSLError, OSError, ValueError) as error:
        if locked:
            words = "the key is locked by a password: give one that is not, readable by you alone"
        elif "KEY_VALUES_MISMATCH" in str(error):
            words = f"the key does not belong to the certificate {files.cert}: give the pair"
        elif not files.key:
            words = "holds no private key: give key=, the PEM file of the certificate's key"
        else:
            words = f"certificate {files.cert} and key cannot be read as PEM files"
        raise TlsFilesError(f"{files.key or files.cert}: {words}") from error


class TlsTransport(TcpTransport):
    """TLS over TCP; the time-out covers connection and handshake."""

    def __init__(
        self, host: str, port: int, context: ssl.SSLContext, connect_timeout_s: float = 5.0
    ) -> None:
        super().__init__(host, port, connect_timeout_s)
        self._context = context
        self._heard = False

    async def _connected(self) -> Incoming:
        loop = asyncio.get_running_loop()
        try:
            _, found = await loop.create_connection(
                Incoming, self.host, self.port, ssl=self._context, server_hostname=self.host
            )
        except (ssl.SSLError, ssl.CertificateError, ConnectionResetError) as error:
            where = f"{self.host}:{self.port}"
            raise NoConnection(f"no TLS with {where}: {handshake_words(error)}") from error
        return found

    async def open(self) -> None:
        """Connect and shake hands. Raises NoConnection."""
        self._heard = False
        await super().open()

    async def receive(self) -> bytes:
        """What has come. In TLS 1.3 a panel refuses our certificate only after the handshake, some
        without a word."""
        try:
            data = await super().receive()
        except ConnectionResetError as error:
            if isinstance(error.__cause__, ssl.SSLError):
                raise ConnectionResetError(handshake_words(error.__cause__)) from error
            if not self._heard:
                raise ConnectionResetError(HUNG_UP) from error
            raise
        if not data and not self._heard:
            raise ConnectionResetError(HUNG_UP)
        self._heard = True
        return data


IN_THE_HANDSHAKE: Final = (
    "the panel ends the connection in the handshake without saying why: it may speak no TLS on "
    "this port, want a client certificate (cert=, key=), or refuse ours"
)
HUNG_UP: Final = (
    "the panel ended the connection right after the handshake without saying why: it may want a "
    "client certificate (cert=, key=), or refuse ours"
)

_BY_VERIFY_CODE: Final = {
    9: "the panel's certificate is not valid yet: check the clocks of both sides",
    10: "the panel's certificate has expired: have a new one put in, and check the clocks",
    18: "the panel's certificate is signed by itself alone: give it as ca= if you know it to be "
    "the panel's own",
    19: "the panel's certificate comes from an authority that is not trusted: give its PEM file as "
    "ca=",
    20: "the panel's certificate comes from an authority that is not trusted: give its PEM file as "
    "ca=",
    21: "the panel's certificate comes from an authority that is not trusted: give its PEM file as "
    "ca=",
    26: "the panel's certificate is not meant for servers: have it issued for server use",
    62: "the panel's certificate is for another host name: ask by the name that it was issued for, "
    "or have it issued for this one",
    64: "the panel's certificate is not for this IP address: ask by the name that it was issued "
    "for, or have it issued for the address",
}
"""By OpenSSL's X509_V_ERR numbers (its x509_vfy.h)."""

_BY_REASON: Final = {
    "WRONG_VERSION_NUMBER": "what answers there speaks no TLS: is it plain Modbus/TCP (tcp://)?",
    "RECORD_LAYER_FAILURE": "what answers there speaks no TLS: is it plain Modbus/TCP (tcp://)?",
    "HTTP_REQUEST": "what answers there speaks no TLS: is it plain Modbus/TCP (tcp://)?",
    "UNSUPPORTED_PROTOCOL": "the panel speaks only TLS older than 1.2, which is not safe",
    "PROTOCOL_VERSION": "the panel speaks none of the TLS versions that we do, 1.2 and newer",
    "HANDSHAKE_FAILURE": "the panel refuses: no common cipher, or it wants a client certificate "
    "(cert=, key=)",
    "NO_CIPHERS_AVAILABLE": "panel and client have no cipher in common",
    "CERTIFICATE_REQUIRED": "the panel wants a client certificate: give cert= and key=",
    "UNKNOWN_CA": "the panel does not trust the authority of our certificate: have it issued by "
    "one that the panel knows",
    "CERTIFICATE_EXPIRED": "the panel says that our certificate has expired: have it renewed, and "
    "check the clocks",
    "CERTIFICATE_REVOKED": "the panel says that our certificate was revoked: have a new one issued",
    "UNSUPPORTED_CERTIFICATE": "the panel does not take our kind of certificate: it must be for "
    "client use",
    "BAD_CERTIFICATE": "the panel refuses our certificate: it may lack the role that the panel "
    "asks for (extension 1.3.6.1.4.1.50316.802.1), or be damaged",
    "CERTIFICATE_UNKNOWN": "the panel refuses our certificate and does not say why",
    "ACCESS_DENIED": "the panel takes our certificate, but does not let it in: ask for its rights",
    "DECRYPT_ERROR": "the panel could not check our signature: is the key the certificate's?",
    "INTERNAL_ERROR": "the panel had trouble of its own in the handshake",
}
"""By the end of OpenSSL's reason, whichever version's alert it was."""


def handshake_words(error: BaseException) -> str:
    """Why a handshake failed, and what to do about it."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return _BY_VERIFY_CODE.get(error.verify_code, f"the panel's certificate fails: {error}")
    if isinstance(error, ssl.SSLEOFError | ConnectionResetError):
        return IN_THE_HANDSHAKE
    reason = getattr(error, "reason", None) or ""
    for ending, words in _BY_REASON.items():
        if reason.endswith(ending):
            return words
    return f"the handshake failed: {reason.replace('_', ' ').lower() or error}"
