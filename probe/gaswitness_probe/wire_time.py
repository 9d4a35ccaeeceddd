"""How long a request and its answer take on the wire, by the formula of the serial-line
specification, and what is allowed for on a network. Pure; no request is made here.

On a serial line: t_total = (8 + 5 + 2N) x bits / baud + 2 x t3.5 + t_server for N registers, with
ceil(N / 8) instead of 2N for N bits. One silence passes before the panel may take the request as
complete, one after the answer before the next request. Source: Modbus over Serial Line V1.02,
clauses 2.4.1 (states of the line) and 2.5.1.1 (RTU framing).
"""

from dataclasses import dataclass, replace
from typing import Final

from gaswitness_sitefile.link_address import LinkAddress, SerialLine
from gaswitness_sitefile.points import Table

FASTEST_COUNTED_BAUD: Final = 19200
"""Above this t1.5 and t3.5 are fixed times (V1.02 clause 2.5.1.1)."""
FIXED_T15_S: Final = 0.000_75
FIXED_T35_S: Final = 0.001_75
TURNAROUND_S: Final = 0.1
"""After a broadcast, which nobody answers: 100 to 200 ms typically (V1.02 clause 2.4.1)."""

RTU_REQUEST_BYTES: Final = 8
"""Address, function, two words, CRC."""
RTU_ANSWER_BYTES: Final = 5
"""Address, function, byte count, CRC; also the whole of an exception."""
MBAP_REQUEST_BYTES: Final = 12
MBAP_ANSWER_BYTES: Final = 9

UNKNOWN_LINE: Final = SerialLine(9600)
"""Taken for the line behind a converter, whose settings cannot be seen: the slower of the two
speeds that every device has (V1.02 clause 3.2)."""

NETWORK_ROUND_TRIP_S: Final = 0.005
"""Allowed for both ways through a local network (common practice, no source)."""
NETWORK_BYTE_S: Final = 0.8e-6
"""Of a 10 Mbit/s network: next to nothing, but of two plans the one of fewer bytes is better."""


@dataclass(frozen=True, slots=True)
class Wire:
    """What a link costs, in seconds: `byte_s` for each byte, `silence_s` before a request counts
    as complete and again before the next one (t3.5), `round_trip_s` of a network, `answer_s` that
    the panel takes. `request_bytes` and `answer_bytes`: the frames without the data read.
    """

    byte_s: float
    silence_s: float
    round_trip_s: float
    answer_s: float
    request_bytes: int
    answer_bytes: int

    def request_s(self) -> float:
        """From the first byte of a read's request to its last."""
        return self.request_bytes * self.byte_s

    def response_s(self, data_bytes: int) -> float:
        """From the first byte of the answer to its last."""
        return (self.answer_bytes + data_bytes) * self.byte_s

    def exchange_s(self, data_bytes: int) -> float:
        """From the first byte of the request to the last of the answer."""
        waiting_s = self.silence_s + self.round_trip_s + self.answer_s
        return self.request_s() + waiting_s + self.response_s(data_bytes)

    def total_s(self, data_bytes: int) -> float:
        """From the first byte of the request until the next request may begin."""
        return self.exchange_s(data_bytes) + self.silence_s

    def busy_s(self, data_bytes: int, gap_s: float) -> float:
        """The same where the pace asks for a gap, which runs along with the silence."""
        return self.exchange_s(data_bytes) + max(self.silence_s, gap_s)


def t15_s(line: SerialLine) -> float:
    """The longest gap within a frame, in seconds."""
    if line.baud > FASTEST_COUNTED_BAUD:
        return FIXED_T15_S
    return 1.5 * line.bits_per_character / line.baud


def t35_s(line: SerialLine) -> float:
    """The silence that parts frames, in seconds."""
    if line.baud > FASTEST_COUNTED_BAUD:
        return FIXED_T35_S
    return 3.5 * line.bits_per_character / line.baud


def serial_wire(line: SerialLine, answer_s: float = 0.0) -> Wire:
    """A serial line in RTU mode."""
    return Wire(
        line.bits_per_character / line.baud,
        t35_s(line),
        0.0,
        answer_s,
        RTU_REQUEST_BYTES,
        RTU_ANSWER_BYTES,
    )


def network_wire(answer_s: float = 0.0) -> Wire:
    """Modbus/TCP over a network, secured or not."""
    return Wire(
        NETWORK_BYTE_S,
        0.0,
        NETWORK_ROUND_TRIP_S,
        answer_s,
        MBAP_REQUEST_BYTES,
        MBAP_ANSWER_BYTES,
    )


def converter_wire(answer_s: float = 0.0) -> Wire:
    """RTU frames over a network to a converter with a serial line behind it."""
    return replace(serial_wire(UNKNOWN_LINE, answer_s), round_trip_s=NETWORK_ROUND_TRIP_S)


def wire_of(link: LinkAddress | None, answer_s: float = 0.0) -> Wire:
    """What the link costs; None is a network."""
    if link is None or not link.rtu_framed:
        return network_wire(answer_s)
    if link.on_serial_line:
        return serial_wire(link.serial or SerialLine(), answer_s)
    return converter_wire(answer_s)


def data_bytes(table: Table, count: int) -> int:
    """Bytes of data in the answer to a read of `count` addresses."""
    return (count + 7) // 8 if table.of_bits else 2 * count


def broadcast_s(line: SerialLine, request_bytes: int, turnaround_s: float = TURNAROUND_S) -> float:
    """From the first byte of a broadcast until the next request may begin, in seconds."""
    return request_bytes * line.bits_per_character / line.baud + max(turnaround_s, t35_s(line))
