"""The secured link against TLS servers on real sockets, certificates by an unrelated library."""

import asyncio
import datetime
import socket
import ssl
import struct
import threading
from pathlib import Path

import pytest
import trustme

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.errors import NoConnection
from gaswitness_probe.links import open_link
from gaswitness_probe.second_reader import SecondReader
from gaswitness_probe.tls import TlsFilesError, tls_context
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import LinkAddress, TlsFiles
from gaswitness_sitefile.points import Table

PACE = Pace(timeout_s=1.0)


class Authority:
    """A certificate authority and files of certificates that it issued."""

    def __init__(self, folder):
        self.folder = folder
        self.ca = trustme.CA()
        self.file = self.written("ca.pem", self.ca.cert_pem.bytes())

    def written(self, name, *blobs):
        path = self.folder / name
        path.write_bytes(b"".join(blobs))
        return str(path)

    def client(self, name="client", **options):
        leaf = self.ca.issue_cert("client@alder.example", **options)
        cert = self.written(f"{name}.pem", *(blob.bytes() for blob in leaf.cert_chain_pems))
        return cert, self.written(f"{name}.key", leaf.private_key_pem.bytes())

    def server(self, *names, wants_client=False, **options):
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        self.ca.issue_cert(*(names or ("127.0.0.1",)), **options).configure_cert(context)
        if wants_client:
            context.verify_mode = ssl.CERT_REQUIRED
            self.ca.configure_trust(context)
        return context


@pytest.fixture
def authority(tmp_path):
    return Authority(tmp_path)


@pytest.fixture
def other(tmp_path):
    folder = tmp_path / "other"
    folder.mkdir()
    return Authority(folder)


@pytest.fixture
async def serve():
    """Holding register n holds 100 + n. Returns the port."""
    servers = []

    async def answer(reader, writer):
        try:
            while True:
                request = await reader.readexactly(12)
                address, count = struct.unpack(">HH", request[8:12])
                data = struct.pack(f">{count}H", *range(100 + address, 100 + address + count))
                body = request[6:8] + bytes((len(data),)) + data
                writer.write(request[:4] + struct.pack(">H", len(body)) + body)
        except (asyncio.IncompleteReadError, OSError):
            pass
        finally:
            writer.close()

    async def start(context):
        server = await asyncio.start_server(answer, "127.0.0.1", 0, ssl=context)
        servers.append(server)
        return server.sockets[0].getsockname()[1]

    yield start
    for server in servers:
        server.close()
        await server.wait_closed()
    await asyncio.sleep(0.02)  # the connections close


def secured(port, ca="", cert="", key="", host="127.0.0.1"):
    return LinkAddress("tls", host, port, 1, tls=TlsFiles(ca, cert, key))


def client_to(address, clock):
    transport, framing = open_link(address, PACE)
    return Client(transport, unit=1, clock=clock, pace=PACE, framing=framing)


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
async def test_registers_are_read_with_a_client_certificate(serve, authority, loop_clock, version):
    context = authority.server(wants_client=True)
    context.minimum_version = context.maximum_version = version
    address = secured(await serve(context), authority.file, *authority.client())
    client = client_to(address, loop_clock)
    await client.open()
    exchange = await client.read(Table.HOLDING, 7, 2)
    assert exchange.payload == bytes.fromhex("006B 006C")
    spoken = client._transport._open().transport.get_extra_info("ssl_object").version()
    assert spoken == {"TLSv1_2": "TLSv1.2", "TLSv1_3": "TLSv1.3"}[version.name]
    await client.close()


async def test_second_reader_reads_over_it_too(serve, authority):
    address = secured(await serve(authority.server()), authority.file, *authority.client())
    second = SecondReader(address, 1, PACE)
    await second.open()
    assert (await second.read(Table.HOLDING, 7, 2)).words == (107, 108)
    await second.close()


async def refused(address, clock, words):
    with pytest.raises(NoConnection, match=words):
        await client_to(address, clock).open()


async def test_unknown_authority_is_said(serve, authority, other, loop_clock):
    port = await serve(authority.server())
    await refused(secured(port, other.file), loop_clock, "authority that is not trusted.*ca=")


async def test_certificate_for_another_host_is_said(serve, authority, loop_clock):
    port = await serve(authority.server("panel.alder.example"))
    await refused(secured(port, authority.file), loop_clock, "not for this IP address")
    address = secured(port, authority.file, host="localhost")
    await refused(address, loop_clock, "for another host name")


async def test_expired_certificate_is_said(serve, authority, loop_clock):
    past = datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC)
    port = await serve(authority.server(not_before=past, not_after=past.replace(year=2021)))
    await refused(secured(port, authority.file), loop_clock, "has expired.*check the clocks")


async def test_certificate_of_the_future_is_said(serve, authority, loop_clock):
    ahead = datetime.datetime(2090, 1, 1, tzinfo=datetime.UTC)
    port = await serve(authority.server(not_before=ahead, not_after=ahead.replace(year=2091)))
    await refused(secured(port, authority.file), loop_clock, "not valid yet")


async def test_plain_port_is_said(panel, authority, loop_clock):
    async def plain(reader, writer):
        writer.write(b"no TLS here, whatever you say\n")
        await reader.read(1)
        writer.close()

    server = await asyncio.start_server(plain, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    await refused(secured(port, authority.file), loop_clock, r"speaks no TLS.*tcp://")
    server.close()
    await server.wait_closed()
    await asyncio.sleep(0.05)  # the peer closes its end


async def test_peer_that_hangs_up_or_keeps_silent_is_said(authority, loop_clock):
    async def hang_up(reader, writer):
        await reader.read(100)
        writer.transport.abort()

    async def silent(reader, writer):
        while await reader.read(10_000):
            pass
        writer.transport.abort()

    for peer, words in ((hang_up, "ends the connection in the handshake"), (silent, "nothing an")):
        server = await asyncio.start_server(peer, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        client = client_to(secured(port, authority.file), loop_clock)
        client._transport.connect_timeout_s = 0.3
        with pytest.raises(NoConnection, match=words):
            await client.open()
        server.close()
        await server.wait_closed()
        await asyncio.sleep(0.05)  # the peer closes its end


async def test_old_versions_are_never_spoken(serve, authority, loop_clock):
    context = authority.server()
    context.set_ciphers("DEFAULT:@SECLEVEL=0")
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        context.minimum_version = context.maximum_version = ssl.TLSVersion.TLSv1_1
    port = await serve(context)
    assert tls_context(TlsFiles()).minimum_version is ssl.TLSVersion.TLSv1_2
    await refused(secured(port, authority.file), loop_clock, "TLS")


@pytest.fixture
def strict():
    """Shakes hands with one client as OpenSSL does, alerts and all; returns the port."""
    threads = []

    def start(context):
        listener = socket.create_server(("127.0.0.1", 0))

        def serve():
            with listener, listener.accept()[0] as raw:
                came, out = ssl.MemoryBIO(), ssl.MemoryBIO()
                secured = context.wrap_bio(came, out, server_side=True)
                shaken = False
                while not shaken:
                    try:
                        secured.do_handshake()
                        shaken = True
                    except ssl.SSLWantReadError:
                        raw.sendall(out.read())
                        came.write(raw.recv(4096))
                    except ssl.SSLError:
                        break
                raw.sendall(out.read())
                raw.settimeout(2.0)
                while raw.recv(4096):
                    pass

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        threads.append(thread)
        return listener.getsockname()[1]

    yield start
    for thread in threads:
        thread.join(5.0)


async def why_refused(client):
    """In TLS 1.3 the handshake is over for us before the panel has looked."""
    try:
        await client.open()
    except NoConnection as error:
        return str(error)
    exchange = await client.read(Table.HOLDING, 0, 1)
    await client.close()
    assert exchange.problem.deviation is Deviation.RESET
    return exchange.words


VERSIONS = [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3]


@pytest.mark.parametrize("version", VERSIONS)
async def test_missing_client_certificate_is_said(strict, authority, loop_clock, version):
    context = authority.server(wants_client=True)
    context.maximum_version = version
    words = await why_refused(client_to(secured(strict(context), authority.file), loop_clock))
    assert "wants a client certificate" in words or "wants a client certificate (cert=" in words


@pytest.mark.parametrize("version", VERSIONS)
async def test_client_certificate_of_a_stranger_is_said(
    strict, authority, other, loop_clock, version
):
    context = authority.server(wants_client=True)
    context.maximum_version = version
    address = secured(strict(context), authority.file, *other.client())
    words = await why_refused(client_to(address, loop_clock))
    assert "does not trust the authority of our certificate" in words


async def test_panel_that_hangs_up_after_the_handshake_is_said(authority, serve, loop_clock):
    # asyncio's server ends the connection without the alert
    context = authority.server(wants_client=True)
    address = secured(await serve(context), authority.file)
    words = await why_refused(client_to(address, loop_clock))
    assert "right after the handshake without saying why" in words


def test_files_that_are_not_what_they_should_be_are_named(authority, other, tmp_path):
    cert, key = authority.client()
    _, strange = other.client()
    text = tmp_path / "notes.txt"
    text.write_text("no certificate")
    wrong = [
        (TlsFiles(ca=str(tmp_path / "none.pem")), "none.pem: cannot be read .*ca= wants the path"),
        (TlsFiles(ca=str(text)), "notes.txt: holds no certificate"),
        (TlsFiles(key=key), "a key without a certificate"),
        (TlsFiles(cert=cert, key=str(tmp_path / "none.key")), "none.key: cannot be read"),
        (TlsFiles(cert=cert), "client.pem: holds no private key: give key="),
        (TlsFiles(cert=cert, key=strange), "does not belong to the certificate"),
        (TlsFiles(cert=str(text), key=key), "cannot be read as PEM files"),
    ]
    for files, words in wrong:
        with pytest.raises(TlsFilesError, match=words):
            tls_context(files)


def test_locked_key_is_refused_without_asking(authority):
    from cryptography.hazmat.primitives import serialization

    cert, key = authority.client()
    loaded = serialization.load_pem_private_key(Path(key).read_bytes(), None)
    locked = loaded.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.BestAvailableEncryption(b"secret"),
    )
    path = authority.written("locked.key", locked)
    with pytest.raises(TlsFilesError, match="locked by a password"):
        tls_context(TlsFiles(cert=cert, key=path))
