"""Frames in full: the protocol's own examples, another library's CRC, another library's decoder."""

from pathlib import Path

import pytest
from crccheck.crc import Crc16Modbus
from pymodbus.framer import FramerRTU, FramerSocket
from pymodbus.pdu import DecodePDU

from gaswitness_probe.read_plan import Block, plan_reads
from gaswitness_scenarios.example_frames import gap_frames, read_frames, write_frames
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "scenarios" / "sites" / "fernhollow" / "site.yaml"


@pytest.fixture(scope="module")
def demo():
    return load_site(DEMO).site


def everything(site, unit, *, rtu):
    rest = RestPanel(site)
    reads = [read_frames(rest, block, unit, rtu=rtu) for block in plan_reads(site)]
    gap = gap_frames(rest, site, unit, rtu=rtu)
    return [*reads, *([gap] if gap else []), *write_frames(site, unit, rtu=rtu)]


def published():
    """A panel whose registers hold what the protocol's examples read.

    V1.1b3 clause 6.3: registers 108 to 110 hold 022B, 0000, 0064. Clause 6.4: input register 9
    holds 000A.
    """
    words = {107: 0x022B, 108: 0, 109: 0x64}
    rows = [
        {"name": f"r{at}", "table": "holding register", "address": at, "value": value}
        for at, value in words.items()
    ]
    rows += [{"name": "i8", "table": "input register", "address": 8, "value": 10}]
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "P"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "points": [{**row, "type": "uint16", "shows": "constant"} for row in rows],
        }
    )


def test_the_examples_of_the_protocol_come_out_byte_for_byte():
    site = published()
    rest = RestPanel(site)
    holding = read_frames(rest, Block(Table.HOLDING, 107, 3, ()), 0x11, rtu=True)
    assert holding.request_bytes[1:-2].hex(" ") == "03 00 6b 00 03"
    assert holding.answer_bytes[1:-2].hex(" ") == "03 06 02 2b 00 00 00 64"
    inputs = read_frames(rest, Block(Table.INPUT, 8, 1, ()), 1, rtu=False)
    # Messaging guide V1.0b clause 3.1.3: transaction, protocol 0, length, unit
    assert inputs.request_bytes.hex(" ") == "00 01 00 00 00 06 01 04 00 08 00 01"
    assert inputs.answer_bytes.hex(" ") == "00 01 00 00 00 05 01 04 02 00 0a"


def test_a_read_beyond_the_map_gets_exception_02(demo):
    found = gap_frames(RestPanel(demo), demo, 1, rtu=False)
    # V1.1b3 clause 7: function with its highest bit set, exception code
    assert found.answer_bytes.hex(" ") == "00 01 00 00 00 03 01 84 02"
    assert found.answer[-1][1] == "exception 02, illegal data address"


@pytest.mark.parametrize("unit", [1, 17, 247])
def test_the_crc_is_that_of_another_library(demo, unit):
    for one in everything(demo, unit, rtu=True):
        for frame in (one.request_bytes, one.answer_bytes):
            assert Crc16Modbus.calc(frame[:-2]) == int.from_bytes(frame[-2:], "little")
            assert frame[0] == unit


@pytest.mark.parametrize(("framer", "rtu"), [(FramerRTU, True), (FramerSocket, False)])
def test_another_library_reads_every_frame(demo, framer, rtu):
    for one in everything(demo, 1, rtu=rtu):
        for is_server, frame in ((True, one.request_bytes), (False, one.answer_bytes)):
            used, pdu = framer(DecodePDU(is_server)).handleFrame(frame, 0, 0)
            assert used == len(frame), one.title
            assert pdu is not None
            assert pdu.function_code == frame[1 if rtu else 7]


def test_the_named_parts_are_the_whole_frame(demo):
    for rtu in (True, False):
        for one in everything(demo, 1, rtu=rtu):
            assert all(data and words for data, words in (*one.request, *one.answer))
            assert one.request_bytes == b"".join(data for data, _ in one.request)
            if not rtu:
                assert int.from_bytes(one.answer_bytes[4:6], "big") == len(one.answer_bytes) - 6


def test_writes_are_shown_for_each_kind_of_point_that_takes_one(demo):
    found = {one.title: one.request_bytes.hex(" ") for one in write_frames(demo, 1, rtu=False)}
    assert found == {
        "Write AT-401 A1 setpoint, its own value again": "00 01 00 00 00 06 01 06 00 7e 00 c8",
        "Write AT-501 A1 setpoint, its own value again": (
            "00 01 00 00 00 0b 01 10 00 84 00 02 04 13 88 00 00"
        ),
        "Write Command reset": "00 01 00 00 00 06 01 05 00 20 ff 00",
    }
    assert list(write_frames(published(), 1, rtu=False)) == []
