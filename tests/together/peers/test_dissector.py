"""tshark, a dissector that is not ours, reads recorded sessions: it takes every segment with bytes
in it for one frame of Modbus, with the function that was meant, and finds none malformed."""

import shutil
import subprocess

import pytest
from peers.capture import Capture

from gaswitness_probe.client import Client
from gaswitness_probe.survey import survey
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import Latency
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu import rtu_framed
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.session import Session
from gaswitness_simulator.units import Units

PORT = 5021
FIELDS = ("frame.protocols", "modbus.func_code", "modbus.exception_code", "_ws.malformed",
          "_ws.expert.message", "tcp.len", "mbtcp.len", "tcp.srcport", "mbtcp.trans_id",
          "mbtcp.unit_id")  # fmt: skip

# Function, what the panel must answer with: its own function, or an exception.
REQUESTS = [
    ("01 00 00 00 0F", None),
    ("02 00 00 00 5A", None),
    ("03 00 64 00 27", None),
    ("04 00 00 00 3B", None),
    ("05 00 21 FF 00", None),
    ("06 00 7E 00 C8", None),
    ("0F 00 20 00 03 01 00", None),
    ("10 00 84 00 02 04 13 88 00 00", None),
    ("16 00 7E FF FF 00 00", None),
    ("17 00 00 00 02 00 7E 00 01 02 00 C8", None),
    ("2B 0E 01 00", None),
    ("2B 0E 02 00", None),
    ("2B 0E 03 00", None),
    ("2B 0E 04 04", None),
    ("01 00 0F 00 01", 2),
    ("03 00 11 00 01", 2),
    ("03 00 00 00 00", 3),
    ("05 00 21 12 34", 3),
    ("2B 0E 04 60", 2),
    ("14 07 06 00 01 00 00 00 01", 1),
    ("41 00", 1),
]
SERIAL_ONLY = [("07", None), ("08 00 00 A5 37", None), ("0B", None), ("0C", None), ("11", None)]


def dissected(capture, path, protocol, *options):
    """One list of fields for each segment that carries bytes."""
    if shutil.which("tshark") is None:
        pytest.skip("tshark is not installed on this machine")
    file = path / "session.pcap"
    capture.write(file)
    command = ["tshark", "-r", str(file), "-d", f"tcp.port=={PORT},{protocol}"]
    command += ["-o", f"{protocol}.tcp.port:{PORT}", *options]
    command += ["-Y", "tcp.len > 0", "-T", "fields", "-E", "separator=|"]
    for field in FIELDS:
        command += ["-e", field]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return [dict(zip(FIELDS, line.split("|"), strict=True)) for line in done.stdout.splitlines()]


def settled_panel(demo):
    panel = VirtualPanel(demo.site)
    panel.advance(60.0)
    return VirtualDevice(panel)


def check_frame(frame, protocol):
    assert frame["frame.protocols"] == f"ip:tcp:{protocol}:modbus"
    assert frame["_ws.malformed"] == ""
    assert frame["_ws.expert.message"] == "", frame


def test_every_function_over_mbap_is_read(demo, tmp_path):
    session, capture, meant = Session(settled_panel(demo)), Capture(PORT), []
    for number, (request, code) in enumerate(REQUESTS):
        pdu = bytes.fromhex(request)
        frame = (number + 1).to_bytes(2, "big") + bytes((0, 0, 0, len(pdu) + 1, 1)) + pdu
        capture.asked(frame)
        (answer,) = session.receive(frame, 61.0)
        capture.answered(answer.data)
        meant.append((str(number + 1), str(pdu[0]), "" if code is None else str(code)))
    frames = dissected(capture, tmp_path, "mbtcp")
    assert len(frames) == 2 * len(REQUESTS)
    for asked, answered, (number, function, code) in zip(
        frames[::2], frames[1::2], meant, strict=True
    ):
        for frame in (asked, answered):
            check_frame(frame, "mbtcp")
            assert frame["mbtcp.trans_id"] == number
            assert frame["modbus.func_code"] == function
            assert int(frame["mbtcp.len"]) == int(frame["tcp.len"]) - 6
        assert (asked["modbus.exception_code"], answered["modbus.exception_code"]) == ("", code)


def test_a_whole_survey_is_read(demo, tmp_path):
    capture, count = Capture(PORT), 0

    def recorded(exchange):
        nonlocal count
        count += 1
        capture.asked(exchange.request)
        capture.answered(exchange.response)

    async def run():
        clock = LoopClock()
        panel = VirtualPanel(demo.site)
        transport = MemoryTransport(VirtualDevice(panel), clock.now, Latency(), 0)
        client = Client(transport, unit=1, clock=clock, pace=demo.site.pace, on_exchange=recorded)
        await clock.sleep_until(60.0)
        await client.open()
        await survey(client, demo.site, clock)
        await client.close()

    run_virtual(run())
    frames = dissected(capture, tmp_path, "mbtcp")
    assert len(frames) == 2 * count > 100
    for frame in frames:
        check_frame(frame, "mbtcp")
        assert frame["mbtcp.unit_id"] == "1"


def test_every_function_over_rtu_is_read_with_its_crc(demo, tmp_path):
    line = RtuLine(Units([settled_panel(demo)]))
    session, capture = RtuSession(line), Capture(PORT)
    requests = [one for one in (*REQUESTS, *SERIAL_ONLY) if one[0] != "41 00"]
    for request, _ in requests:
        frame = rtu_framed(1, bytes.fromhex(request))
        capture.asked(frame)
        (answer,) = session.receive(frame, 61.0)
        capture.answered(answer.data)
    frames = dissected(capture, tmp_path, "mbrtu", "-o", "mbrtu.crc_verification:TRUE")
    assert len(frames) == 2 * len(requests)
    # tshark takes RTU over TCP from five bytes on: 07, 0B, 0C and 11 are asked for with four
    short = [frame for frame in frames if frame["tcp.len"] == "4"]
    assert len(short) == 4
    for frame in frames:
        if frame not in short:
            check_frame(frame, "mbrtu")


# What it lets pass: a byte count that lies. The probe's and the panel's own tests hold those.
@pytest.mark.parametrize(
    ("protocol", "answer"),
    [("mbtcp", "0001 0000 0004 01 10 0001"), ("mbrtu", "01 03 04 0000 0000 FA 34")],
)
def test_a_wrong_frame_is_seen_as_such(tmp_path, protocol, answer):
    asked = {"mbtcp": "0001 0000 0006 01 10 0000 0001", "mbrtu": "01 03 0000 0002 C4 0B"}
    capture = Capture(PORT)
    capture.asked(bytes.fromhex(asked[protocol]))
    capture.answered(bytes.fromhex(answer))
    crc = ["-o", "mbrtu.crc_verification:TRUE"] if protocol == "mbrtu" else []
    wrong = dissected(capture, tmp_path, protocol, *crc)[1]
    assert wrong["_ws.malformed"] or "CRC" in wrong["_ws.expert.message"]
