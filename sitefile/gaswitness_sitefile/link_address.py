"""Link addresses, one form for site file and command line: how and where a panel answers.

tcp://HOST[:502][/UNIT]                  Modbus/TCP
tls://HOST[:802][/UNIT]?ca=..&cert=..&key=..   Modbus/TCP Security
rtu+tcp://HOST[:502][/UNIT]              RTU frames over TCP, as converters carry them
rtu:///dev/ttyUSB0?baud=19200&parity=even&stop=1[&unit=UNIT]   a serial line
rtu:COM3?baud=9600                       the same with a Windows port name
"""

import re
from dataclasses import dataclass
from typing import Final
from urllib.parse import parse_qsl, quote, unquote, urlsplit

TCP, TLS, RTU_TCP, RTU = "tcp", "tls", "rtu+tcp", "rtu"
PORTS: Final = {TCP: 502, TLS: 802, RTU_TCP: 502}
"""Port of each kind of link over a network (Messaging guide V1.0b clause 4.3; 802 for security)."""

BAUDS: Final = (1200, 2400, 4800, 9600, 14400, 19200, 38400, 57600, 115200, 230400)
PARITIES: Final = ("even", "odd", "none")

HINTS: Final = {
    TCP: "write tcp://HOST:PORT/UNIT, for example tcp://192.0.2.10:502/1",
    TLS: "write tls://HOST:802/UNIT?ca=ca.pem&cert=client.pem&key=client.key",
    RTU_TCP: "write rtu+tcp://HOST:PORT/UNIT, for example rtu+tcp://192.0.2.10:4001/7",
    RTU: "write rtu:///dev/ttyUSB0?baud=19200&parity=even&stop=1&unit=7, or rtu:COM3?baud=9600",
}


@dataclass(frozen=True, slots=True)
class SerialLine:
    """Settings of a serial line; 8 data bits always (V1.02 clause 2.5.1).

    `stop` is 1 with a parity bit and 2 without unless stated, so that a character has 11 bits.
    """

    baud: int = 19200
    parity: str = "even"
    stop: int = 1

    @property
    def bits_per_character(self) -> int:
        """Start bit, 8 data bits, parity if any, stop bits."""
        return 1 + 8 + (self.parity != "none") + self.stop

    def __str__(self) -> str:
        return f"baud={self.baud}&parity={self.parity}&stop={self.stop}"


@dataclass(frozen=True, slots=True)
class TlsFiles:
    """PEM files of a secured link: whom to trust, and who we are, from the working folder."""

    ca: str = ""
    cert: str = ""
    key: str = ""

    def __str__(self) -> str:
        given = (("ca", self.ca), ("cert", self.cert), ("key", self.key))
        return "&".join(f"{name}={quote(value)}" for name, value in given if value)


@dataclass(frozen=True, slots=True)
class LinkAddress:
    """Where a panel answers. `unit` is None where the address does not say one.

    Over a network `host` and `port` count; on a serial line `device`, its path or port name, and
    `serial`. `tls` belongs to tls links.
    """

    scheme: str
    host: str = ""
    port: int = 0
    unit: int | None = None
    device: str = ""
    serial: SerialLine | None = None
    tls: TlsFiles | None = None

    @property
    def on_serial_line(self) -> bool:
        """Whether requests go over a serial line of this machine."""
        return self.scheme == RTU

    @property
    def rtu_framed(self) -> bool:
        """Whether frames carry an address and a CRC instead of an MBAP header."""
        return self.scheme in (RTU, RTU_TCP)

    def __str__(self) -> str:
        if self.scheme == RTU:
            place = f"//{self.device}" if self.device.startswith("/") else self.device
            unit = "" if self.unit is None else f"&unit={self.unit}"
            return f"rtu:{place}?{self.serial or SerialLine()}{unit}"
        host = f"[{self.host}]" if ":" in self.host else self.host
        tail = "" if self.unit is None else f"/{self.unit}"
        files = f"?{self.tls}" if self.tls is not None and str(self.tls) else ""
        return f"{self.scheme}://{host}:{self.port}{tail}{files}"


def parse_link(text: str, *, any_port: bool = False) -> LinkAddress:
    """Read a link address. `any_port`: port 0 is good too, for one who listens.

    Raises ValueError that says what was found and what to write.
    """
    scheme, colon, rest = text.strip().partition(":")
    scheme = scheme.lower()
    if not colon or scheme not in HINTS or not (rest.startswith("//") or scheme == RTU):
        if re.match(r"^[A-Za-z][A-Za-z0-9+]*://", text):
            raise ValueError(f"links of kind {scheme!r} are not known: {_all_hints()}")
        raise ValueError(f"link {text!r} does not say how: {_all_hints()}")
    return _serial(text, rest) if scheme == RTU else _network(text, scheme, any_port=any_port)


def _all_hints() -> str:
    return f"{HINTS[TCP]}; or begin with {TLS}://, {RTU_TCP}:// or {RTU}:///"


def _network(text: str, scheme: str, *, any_port: bool) -> LinkAddress:
    hint = HINTS[scheme]
    try:
        parts = urlsplit(text.strip())
        port = parts.port
    except ValueError as error:
        raise ValueError(f"link {text!r} has a host or port that cannot be: {hint}") from error
    if not parts.hostname:
        raise ValueError(f"link {text!r} names no host: {hint}")
    if port == 0 and not any_port:
        raise ValueError(f"link {text!r} has port 0: {hint}")
    if parts.fragment or parts.username or (parts.query and scheme != TLS):
        raise ValueError(f"link {text!r} has parts that a {scheme} link does not take: {hint}")
    tls = TlsFiles(**_options(text, parts.query, ("ca", "cert", "key"), hint))
    path = parts.path.strip("/")
    return LinkAddress(
        scheme,
        parts.hostname,
        PORTS[scheme] if port is None else port,
        _unit(path, hint) if path else None,
        tls=tls if scheme == TLS else None,
    )


def _serial(text: str, rest: str) -> LinkAddress:
    hint = HINTS[RTU]
    place, _, query = rest.partition("?")
    device = unquote(place.removeprefix("//"))
    if not device or device == "/":
        raise ValueError(f"link {text!r} names no serial port: {hint}")
    options = _options(text, query, ("baud", "parity", "stop", "unit"), hint)
    parity = options.get("parity", "even").lower()
    if parity not in PARITIES:
        raise ValueError(f"parity {parity!r} is not one of {', '.join(PARITIES)}: {hint}")
    line = SerialLine(
        _whole(options.get("baud", "19200"), "baud", BAUDS[0], 4_000_000, hint),
        parity,
        _whole(options.get("stop", "2" if parity == "none" else "1"), "stop bits", 1, 2, hint),
    )
    unit = _unit(options["unit"], hint) if "unit" in options else None
    return LinkAddress(RTU, unit=unit, device=device, serial=line)


def _options(text: str, query: str, known: tuple[str, ...], hint: str) -> dict[str, str]:
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError as error:
        raise ValueError(f"link {text!r} has options that cannot be read: {hint}") from error
    for name, _ in pairs:
        if name not in known:
            raise ValueError(f"link {text!r} has an option {name!r} that it does not take: {hint}")
    if len(dict(pairs)) < len(pairs):
        raise ValueError(f"link {text!r} gives an option twice: {hint}")
    return dict(pairs)


def _unit(written: str, hint: str) -> int:
    if not re.fullmatch(r"[0-9]{1,3}", written) or int(written) > 255:
        raise ValueError(f"unit id {written!r} is not a number from 0 to 255: {hint}")
    return int(written)


def _whole(written: str, what: str, least: int, most: int, hint: str) -> int:
    if not re.fullmatch(r"[0-9]{1,7}", written) or not least <= int(written) <= most:
        raise ValueError(f"{what} {written!r} is not a number from {least} to {most}: {hint}")
    return int(written)
