"""The conformance table, `conformance.csv`, request by request, over Modbus/TCP and over RTU; then
streams of frames, cut and joined.

`place` is a clause or figure of the MODBUS Application Protocol Specification V1.1b3, of MODBUS
over Serial Line V1.02, or of the Messaging on TCP/IP Implementation Guide V1.0b. Requests and
answers are PDUs in hex, several with `;` between them; `FF:` before one is its unit id, 1
otherwise. An empty last column: the same over RTU as over MBAP.
"""

import csv
import re
from pathlib import Path

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.session import Session
from gaswitness_simulator.units import Units
from gaswitness_sitefile.points import Gaps

TABLE = Path(__file__).with_name("conformance.csv")
with TABLE.open(encoding="utf-8", newline="") as lines:
    ROWS = list(csv.DictReader(lines))


def crc(data):
    """V1.02 appendix B, bit by bit, low byte first on the wire."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ (0xA001 if value & 1 else 0)
    return value.to_bytes(2, "little")


def steps(cell):
    """[(unit, PDU or None for silence)] of a cell of the table."""
    found = []
    for part in cell.split(";"):
        unit, colon, text = part.strip().rpartition(":")
        text = re.sub(r"\((\d+) x 00\)", lambda found: "00" * int(found[1]), text)
        pdu = None if text.strip() == "silence" else bytes.fromhex(text)
        found.append((int(unit, 16) if colon else 1, pdu))
    return found


@pytest.fixture
def device(make_site, a_point):
    """Coils 19 to 37 and 172; discrete inputs 196 to 217 and 2300, zeros between; registers 0 to 99
    that hold their address, and 107 to 109; input registers 8 and 200; files 3, 4; two queues."""

    def bits(table, first, count, data, access):
        packed = int.from_bytes(bytes.fromhex(data), "little")
        return [
            a_point(f"{table}{first + n}", table, first + n, "bit", "constant",
                    value=packed >> n & 1, access=access)
            for n in range(count)
        ]  # fmt: skip

    def words(table, first, values, access="r"):
        return [
            a_point(f"{table}{first + n}", table, first + n, "uint16", "constant", value=value,
                    access=access)
            for n, value in enumerate(values)
        ]  # fmt: skip

    holding = [0x12 if n == 90 else n for n in range(100)]
    points = [
        *bits("coil", 19, 19, "CD 6B 05", "rw"),
        *bits("coil", 172, 1, "00", "rw"),
        *bits("discrete input", 196, 22, "AC DB 35", "r"),
        *bits("discrete input", 2300, 1, "00", "r"),
        *words("holding register", 0, holding, "rw"),
        *words("holding register", 107, [555, 0, 100]),
        *words("input register", 8, [10]),
        *words("input register", 200, [0]),
    ]
    site = make_site(
        panel={"tag": "GDP-1", "vendor": "Maker", "product": "P", "revision": "3"},
        points=points,
        map={
            "gaps": {"discrete input": Gaps.ZEROS, "input register": Gaps.ZEROS},
            "files": [
                {"number": 3, "records": 11, "values": [0] * 9 + [0x33CD, 0x0040]},
                {"number": 4, "records": 10, "values": [0, 0x0DFE, 0x0020], "writable": True},
            ],
            "queues": [
                {"pointer": 1246, "values": [440, 4740]},
                {"pointer": 2000, "values": [1] * 32},
            ],
        },
    )
    return VirtualDevice(VirtualPanel(site))


class OverMbap:
    def __init__(self, device):
        self.session, self.transaction = Session(device), 0x1500

    def ask(self, unit, pdu):
        self.transaction += 1
        head = self.transaction.to_bytes(2, "big") + b"\0\0"
        sent = self.session.receive(head + (len(pdu) + 1).to_bytes(2, "big") + bytes([unit]) + pdu,
                                    1.0)  # fmt: skip
        if not sent:
            return None
        (answer,) = sent
        size = len(answer.data) - 6
        assert answer.data[:6] == head + size.to_bytes(2, "big")
        return answer.data[6], answer.data[7:]


class OverRtu:
    def __init__(self, device):
        self.session = RtuSession(RtuLine(Units([device])))

    def ask(self, unit, pdu):
        frame = bytes([unit]) + pdu
        sent = self.session.receive(frame + crc(frame), 1.0)
        sent += self.session.silence(1.0, 0.02)
        sent += self.session.silence(2.0, 1.0)
        if not sent:
            return None
        (answer,) = sent
        assert crc(answer.data[:-2]) == answer.data[-2:]
        return answer.data[0], answer.data[1:-2]


def check(line, request, expected):
    asked, answers = steps(request), steps(expected)
    assert len(asked) == len(answers)
    for (unit, pdu), (_, answer) in zip(asked, answers, strict=True):
        found = line.ask(unit, pdu)
        assert found == (None if answer is None else (unit, answer)), pdu.hex(" ")


def named(row):
    return f"{row['place']}: {row['document']}"


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_row_over_mbap(device, row):
    check(OverMbap(device), row["request"], row["over MBAP"])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_row_over_rtu(device, row):
    check(OverRtu(device), row["request"], row["over RTU"] or row["over MBAP"])


# --- streams over TCP: what comes, cut where `|` stands; what goes out; whether it is closed ----

READ = "0001 0000 0006 01 03 0001 0001"
ANSWER = "0001 0000 0005 01 03 02 0001"
SECOND, SECOND_ANSWER = READ.replace("0001", "0002", 1), ANSWER.replace("0001", "0002", 1)
STREAMS = [
    ("guide 3.1.3: one frame in one segment", READ, ANSWER, False),
    ("guide 4.2.2: two frames in one segment, answered in order",
     READ + SECOND, ANSWER + SECOND_ANSWER, False),
    ("guide 4.2.2: one frame in two segments, cut in the header",
     "0001 00|00 0006 01 03 0001 0001", ANSWER, False),
    ("guide 4.2.2: one frame in two segments, cut in the PDU",
     "0001 0000 0006 01 03 00|01 0001", ANSWER, False),
    ("guide 4.2.2: byte by byte",
     "|".join(READ.replace(" ", "")[n : n + 2] for n in range(0, 24, 2)), ANSWER, False),
    ("guide 4.2.2: one frame and a half, then the rest",
     READ + "0002 0000 00|06 01 03 0001 0001", ANSWER + SECOND_ANSWER, False),
    ("guide 4.4.2: another protocol id is discarded, and the next frame is answered",
     "0001 0001 0006 01 03 0001 0001" + SECOND, SECOND_ANSWER, False),
    ("guide 4.4.2: another protocol id in a segment of its own",
     "0001 0001 0006 01 03 0001 0001|" + SECOND, SECOND_ANSWER, False),
    ("4.1: a length below unit id and function: there is no next frame to be found",
     "0001 0000 0001 01|" + SECOND, "", True),
    ("4.1: a length of 0", "0001 0000 0000 01 03 0001 0001", "", True),
    ("4.1: a length above 254, after a good frame",
     READ + "0002 0000 00FF 01 03 0001 0001", ANSWER, True),
    ("4.1: 254 is the most", "0001 0000 00FE 01 63" + "00" * 252, "0001 0000 0003 01 E3 01", False),
    ("guide 4.4.1.3: transaction ids come back, equal ones too", READ + READ, ANSWER + ANSWER,
     False),
]  # fmt: skip


@pytest.mark.parametrize(
    ("document", "comes", "goes", "closes"), STREAMS, ids=lambda v: str(v)[:40]
)
def test_stream_over_tcp(device, document, comes, goes, closes):
    session, sent = Session(device), []
    for segment in comes.split("|"):
        sent += session.receive(bytes.fromhex(segment), 1.0)
        if any(one.close for one in sent):
            break
    assert b"".join(one.data for one in sent) == bytes.fromhex(goes), document
    assert any(one.close for one in sent) is closes, document


# --- a serial line: what is heard, with silences of T3.5 where `_` stands -----------------------

HEARD, SAID = "01 03 00 01 00 01 D5 CA", "01 03 02 00 01 79 84"
OTHER, OTHER_SAID = "02 03 00 01 00 01 D5 F9", "02 03 02 00 01 3D 84"
LINE = [
    ("V1.02 2.5.1.1: one frame", HEARD, SAID),
    ("V1.02 2.5.1.1: two frames without a silence between", HEARD + HEARD, SAID + SAID),
    ("V1.02 2.5.1.1: a frame in pieces", "01 03 00|01 00 01|D5 CA", SAID),
    ("V1.02 2.4.2: a wrong CRC: no answer", "01 03 00 01 00 01 D5 CB _", ""),
    ("V1.02 2.4.2: a wrong CRC, then a right frame", "01 03 00 01 00 01 D5 CB _" + HEARD, SAID),
    ("V1.02 2.4.2: the CRC with its high byte first is wrong", "01 03 00 01 00 01 CA D5 _", ""),
    ("V1.02 2.5.1.1: noise before a frame", "00 FF 13" + HEARD + "_", SAID),
    ("V1.02 2.5.1.1: a frame cut short, then a whole one", "01 03 00 01 _" + HEARD, SAID),
    ("V1.02 2.2: another unit and its answer mean nothing here", OTHER + OTHER_SAID + HEARD, SAID),
    ("V1.02 2.1: broadcast of a write", "00 06 00 01 00 07 98 19" + HEARD, "01 03 02 00 07 F9 86"),
    ("V1.1b3 6.8.1: listen only, then nothing, then restart without an answer",
     "01 08 00 04 00 00 A1 CA" + HEARD + "01 08 00 01 00 00 B1 CB" + HEARD, SAID),
]  # fmt: skip


@pytest.mark.parametrize(("document", "heard", "said"), LINE, ids=lambda v: str(v)[:40])
def test_stream_on_a_line(device, document, heard, said):
    session, sent = RtuSession(RtuLine(Units([device]))), []
    for part in heard.replace("_", "|_|").split("|"):
        if part.strip() == "_":
            sent += session.silence(1.0, 0.02)
            sent += session.silence(2.0, 1.0)
        else:
            sent += session.receive(bytes.fromhex(part), 1.0)
    assert b"".join(one.data for one in sent) == bytes.fromhex(said), document


def test_the_crc_here_is_that_of_the_document():
    # V1.02 appendix B: 02 07 gives 0x1241, low byte first; "123456789" gives 4B37 (four libraries)
    assert crc(bytes.fromhex("0207")) == bytes.fromhex("4112")
    assert crc(b"123456789") == bytes.fromhex("374B")
