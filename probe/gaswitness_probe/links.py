"""From a link's address to what a client needs: a way for bytes, and their framing."""

from gaswitness_probe.framing import Framing, MbapFraming
from gaswitness_probe.rtu_framing import RtuFraming
from gaswitness_probe.serial_line import SerialTransport
from gaswitness_probe.tls import TlsTransport, tls_context
from gaswitness_probe.transport import TcpTransport, Transport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import TLS, LinkAddress, SerialLine, TlsFiles


def open_link(address: LinkAddress, pace: Pace) -> tuple[Transport, Framing]:
    """The way to what answers at the address. Nothing is opened yet.

    Raises TlsFilesError where a secured link's files are not what they should be.
    """
    if address.on_serial_line:
        line = address.serial or SerialLine()
        return SerialTransport(address.device, line), RtuFraming(line, pace.timeout_s)
    if address.scheme == TLS:
        context = tls_context(address.tls or TlsFiles())
        return TlsTransport(address.host, address.port, context), MbapFraming()
    transport = TcpTransport(address.host, address.port)
    return transport, RtuFraming(None, pace.timeout_s) if address.rtu_framed else MbapFraming()
