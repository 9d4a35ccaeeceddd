"""Modbus/TCP Security: TLS 1.2 or newer, client certificates, roles. The document from memory."""

import asyncio
import datetime
import ssl
from pathlib import Path

import pytest
import trustme
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.tcp import TcpServer
from gaswitness_simulator.tls import role_of, server_context
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.link_address import TlsFiles

ROLE = x509.ObjectIdentifier("1.3.6.1.4.1.50316.802.1")
READ = bytes.fromhex("0001 0000 0006 01 03 0001 0001")
WRITE = bytes.fromhex("0002 0000 0006 01 06 0001 0007")


def utf8(text):
    data = text.encode("utf-8")
    return bytes((0x0C, len(data))) + data


class Certificates:
    """One authority, and certificates that it signs, as PEM files in a folder."""

    def __init__(self, folder):
        self.folder = folder
        self.authority = trustme.CA()
        self.ca = str(folder / "ca.pem")
        self.authority.cert_pem.write_to_path(self.ca)

    def server(self):
        made = self.authority.issue_cert("127.0.0.1")
        made.private_key_pem.write_to_path(str(self.folder / "panel.key"))
        for n, blob in enumerate(made.cert_chain_pems):
            blob.write_to_path(str(self.folder / "panel.pem"), append=n > 0)
        return TlsFiles(self.ca, str(self.folder / "panel.pem"), str(self.folder / "panel.key"))

    def client(self, role=None, value=None):
        """(PEM file with key and certificate, its DER). `value`: the extension's bytes."""
        key = ec.generate_private_key(ec.SECP256R1())
        signer = serialization.load_pem_private_key(
            self.authority.private_key_pem.bytes(), password=None
        )
        issuer = x509.load_pem_x509_certificate(self.authority.cert_pem.bytes())
        now = datetime.datetime.now(datetime.UTC)  # noqa: TID251  a certificate has dates
        builder = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "client")]))
            .issuer_name(issuer.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(days=1))
            .not_valid_after(now + datetime.timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer.public_key()),
                critical=False,
            )
        )
        if role is not None or value is not None:
            content = utf8(role) if value is None else value
            builder = builder.add_extension(
                x509.UnrecognizedExtension(ROLE, content), critical=False
            )
        made = builder.sign(signer, hashes.SHA256())
        path = self.folder / f"client-{role}.pem"
        path.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
            + made.public_bytes(serialization.Encoding.PEM)
        )
        return str(path), made.public_bytes(serialization.Encoding.DER)


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    return Certificates(tmp_path_factory.mktemp("tls"))


@pytest.fixture
async def server(make_site, a_point, certificates):
    points = [a_point("w", "holding register", 1, "uint16", "spare", access="rw")]
    device = VirtualDevice(VirtualPanel(make_site(points=points)))
    made = TcpServer(
        device,
        lambda: 1.0,
        tls=server_context(certificates.server()),
        writers=["commissioning"],
    )
    await made.listen("127.0.0.1", 0)
    yield made
    await made.close()


async def ask(server, request, ca, client=None, **settings):
    """The answer's bytes; b"" where the server closes."""
    context = ssl.create_default_context(cafile=ca)
    for name, value in settings.items():
        setattr(context, name, value)
    if client is not None:
        context.load_cert_chain(client)
    reader, writer = await asyncio.open_connection(
        server.host, server.port, ssl=context, server_hostname="127.0.0.1"
    )
    try:
        writer.write(request)
        return await asyncio.wait_for(reader.read(300), 5)
    finally:
        writer.transport.abort()


async def refused(server, request, ca, client=None):
    """Whether the server hangs up: by an alert, a reset, or without a word."""
    try:
        return await ask(server, request, ca, client) == b""
    except (ssl.SSLError, ConnectionError):
        return True


async def test_a_role_that_may_write_reads_and_writes(server, certificates):
    client, _ = certificates.client("commissioning")
    assert await ask(server, WRITE, certificates.ca, client) == WRITE
    answer = await ask(server, READ, certificates.ca, client)
    assert answer.hex(" ") == "00 01 00 00 00 05 01 03 02 00 07"


@pytest.mark.parametrize("role", ["visitor", None, "Commissioning", ""])
async def test_another_role_or_none_reads_and_gets_exception_01_for_writes(
    server, certificates, role
):
    client, _ = certificates.client(role)
    answer = await ask(server, WRITE, certificates.ca, client)
    assert answer.hex(" ") == "00 02 00 00 00 03 01 86 01"
    answer = await ask(server, READ, certificates.ca, client)
    assert answer.hex(" ") == "00 01 00 00 00 05 01 03 02 00 00"


async def test_a_client_without_certificate_is_not_heard(server, certificates):
    assert await refused(server, READ, certificates.ca)


async def test_a_client_of_another_authority_is_not_heard(server, certificates, tmp_path):
    stranger, _ = Certificates(tmp_path).client("commissioning")
    assert await refused(server, WRITE, certificates.ca, stranger)
    client, _ = certificates.client("commissioning")
    answer = await ask(server, READ, certificates.ca, client)
    assert answer.hex(" ") == "00 01 00 00 00 05 01 03 02 00 00"


async def test_a_server_of_another_authority_is_refused_by_the_client(server, tmp_path):
    other = Certificates(tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError):
        await ask(server, READ, other.ca)


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion.TLSv1_1 is deprecated:DeprecationWarning")
async def test_older_tls_is_refused_and_1_2_is_taken(server, certificates):
    client, _ = certificates.client("commissioning")
    old = {"minimum_version": ssl.TLSVersion.TLSv1_1, "maximum_version": ssl.TLSVersion.TLSv1_1}
    with pytest.raises((ssl.SSLError, ConnectionError)):
        await ask(server, READ, certificates.ca, client, **old)
    answer = await ask(
        server, READ, certificates.ca, client, maximum_version=ssl.TLSVersion.TLSv1_2
    )
    assert answer.hex(" ") == "00 01 00 00 00 05 01 03 02 00 00"


def test_old_tls_is_not_even_offered(certificates):
    context = server_context(certificates.server())
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2
    assert context.verify_mode is ssl.CERT_REQUIRED


# Certificates made by the `cryptography` package, an unrelated encoder.
@pytest.mark.parametrize("role", ["commissioning", "Bedienung Süd", "x" * 100, None])
def test_the_role_is_read_from_a_certificate(certificates, role):
    assert role_of(certificates.client(role)[1]) == role


def test_a_role_that_is_no_utf8_string_is_none(certificates):
    printable = bytes((0x13, 3)) + b"abc"
    assert role_of(certificates.client("odd", value=printable)[1]) is None


def test_bytes_that_are_no_certificate_are_told(certificates):
    der = certificates.client("commissioning")[1]
    for size in range(0, len(der) - 1, 7):
        with pytest.raises(ValueError, match="no certificate"):
            role_of(der[:size])


def test_files_that_cannot_be_used_are_told_plainly(certificates, tmp_path):
    files = certificates.server()
    with pytest.raises(GaswitnessError, match="needs ca="):
        server_context(TlsFiles(cert=files.cert, key=files.key))
    with pytest.raises(GaswitnessError, match=r"cannot use .*nowhere.pem"):
        server_context(TlsFiles(files.ca, str(tmp_path / "nowhere.pem"), files.key))
    with pytest.raises(GaswitnessError, match=r"cannot trust .*panel.key"):
        server_context(TlsFiles(files.key, files.cert, files.key))
    locked = tmp_path / "locked.key"
    key = serialization.load_pem_private_key(Path(files.key).read_bytes(), None)
    locked.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.BestAvailableEncryption(b"secret"),
        )
    )
    with pytest.raises(GaswitnessError, match="without a password"):
        server_context(TlsFiles(files.ca, files.cert, str(locked)))
