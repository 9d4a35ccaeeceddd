"""The four readers of frames as they are fuzzed: each takes segments of bytes and checks all that
must hold whatever they are, and counts in `good` the answers and replies that came of it. The
checks share no code with what they check.
"""

import struct
from pathlib import Path

from pymodbus.framer.rtu import FramerRTU

from gaswitness_probe.deviation import LinkProblem
from gaswitness_probe.frames import check_reply
from gaswitness_probe.framing import MbapFraming
from gaswitness_probe.rtu_framing import RtuFraming
from gaswitness_scenarios.library import demo_site_path
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.session import Session
from gaswitness_simulator.units import Units
from gaswitness_sitefile.load import load_site

CORPUS = Path(__file__).with_name("corpus")
STEP_S = 0.001
MOST_PENDING = 8192


def right_crc(frame):
    return FramerRTU.compute_CRC(frame[:-2]).to_bytes(2, "big") == frame[-2:]


def has_request(data, function):
    """Whether there is a frame to unit 1 with this function and a right CRC in the bytes."""
    begins = [at for at in range(len(data) - 3) if data[at : at + 2] == bytes((1, function))]
    return any(right_crc(data[at:end]) for at in begins for end in range(at + 4, len(data) + 1))


def demo_device():
    panel = VirtualPanel(load_site(demo_site_path()).site)
    panel.advance(60.0)
    return VirtualDevice(panel)


class SimulatorMbap:
    """Requests to the virtual panel over TCP."""

    name = "simulator_mbap"

    def __init__(self):
        self.device = demo_device()
        self.session = Session(self.device)
        self.good = 0
        self.at_s = 60.0

    def take(self, segments):
        for segment in segments:
            self.at_s += STEP_S
            for out in self.session.receive(segment, self.at_s):
                if out.close:
                    self.session = Session(self.device)
                    return
                self.check(out.data)
        if len(self.session._reader._waiting) > 6:
            self.session = Session(self.device)  # a length that waits for bytes that never come

    def check(self, data):
        self.good += 1
        _, protocol, length = struct.unpack(">HHH", data[:6])
        assert protocol == 0
        assert length == len(data) - 6
        assert 3 <= length <= 254
        assert len(self.session._reader._waiting) <= 260


class SimulatorRtu:
    """Requests to the virtual panel on a line."""

    name = "simulator_rtu"

    def __init__(self):
        self.session = RtuSession(RtuLine(Units([demo_device()])))
        self.good = 0
        self.at_s = 60.0

    def take(self, segments):
        whole = b"".join(segments)
        for segment in segments:
            self.at_s += STEP_S
            self.check(self.session.receive(segment, self.at_s), whole)
        self.check(self.session.silence(self.at_s, 0.02), whole)
        self.check(self.session.silence(self.at_s, 1.0), whole)
        assert not self.session._reader.waits

    def check(self, sent, whole):
        for out in sent:
            self.good += 1
            assert 5 <= len(out.data) <= 256
            assert right_crc(out.data)
            assert out.data[0] == 1
            assert has_request(whole, out.data[1] & 0x7F)


READS = (
    bytes.fromhex("01 0000 000F"),
    bytes.fromhex("02 0000 005A"),
    bytes.fromhex("03 0064 0027"),
    bytes.fromhex("04 0000 0006"),
    bytes.fromhex("2B 0E 01 00"),
)


class Probe:
    """Replies to the probe. One that is accepted must be what the protocol says it is."""

    def __init__(self):
        self.framing = self.made()
        self.good = 0
        self.at_s = 0.0
        self.turn = 0

    def take(self, segments):
        self.turn += 1
        pdu = self.asked(b"".join(segments))
        self.at_s += 10.0
        self.framing.notes.clear()
        self.framing.before(self.at_s)
        request = self.framing.begin(1, pdu, self.at_s)
        found = None
        for segment in segments:
            self.at_s += STEP_S
            self.framing.feed(self.current(segment), self.at_s)
            found = self.framing.take()
            if found is not None:
                break
        if found is None:
            found = self.framing.silent("within 1 s")
        self.settle(request, pdu, found)

    def asked(self, data):
        """Mostly the request that the reply was made for, so that much of it is accepted."""
        function = data[self.function_at] & 0x7F if len(data) > self.function_at else 0
        fit = [pdu for pdu in READS if pdu[0] == function]
        return fit[0] if fit and self.turn % 4 else READS[self.turn % len(READS)]

    def settle(self, request, pdu, found):
        problem, refused = (found, False) if isinstance(found, LinkProblem) else (None, False)
        if problem is None:
            checked = check_reply(pdu, found.pdu)
            problem, refused = checked.problem, checked.exception_code is not None
            if found.unit == 1 and problem is None:
                self.good += 1
                self.check(request, pdu, found, refused=refused)
        self.framing.tail(problem)
        assert len(self.framing.unfinished()) <= MOST_PENDING
        self.framing.concluded(problem, refused=refused, now_s=self.at_s)
        if self.framing.lost(problem):
            self.framing.opened()
        str(problem)

    def check_pdu(self, asked, reply, *, refused):
        if refused:
            assert reply[0] == asked[0] | 0x80
            assert len(reply) == 2
            return
        assert reply[0] == asked[0]
        if asked[0] <= 4:
            count = struct.unpack(">H", asked[3:5])[0]
            size = (count + 7) // 8 if asked[0] <= 2 else 2 * count
            assert reply[1] == size == len(reply) - 2

    def current(self, segment):
        return segment


class ProbeMbap(Probe):
    name = "probe_mbap"
    function_at = 7

    def made(self):
        return MbapFraming()

    def current(self, segment):
        """With the transaction id of the request, where the frame has that of the corpus."""
        if segment[:2] == b"\x15\x01":
            return self.framing.transaction.to_bytes(2, "big") + segment[2:]
        return segment

    def check(self, request, pdu, found, *, refused):
        transaction, protocol, length = struct.unpack(">HHH", found.raw[:6])
        assert transaction == int.from_bytes(request[:2], "big")
        assert protocol == 0
        assert length == len(found.raw) - 6
        assert found.raw[6] == 1
        assert found.raw[7:] == found.pdu
        self.check_pdu(pdu, found.pdu, refused=refused)


class ProbeRtu(Probe):
    name = "probe_rtu"
    function_at = 1

    def made(self):
        return RtuFraming(None, 1.0)

    def check(self, request, pdu, found, *, refused):
        assert right_crc(found.raw)
        assert found.raw[0] == request[0]
        assert found.raw[1:-2] == found.pdu
        self.check_pdu(pdu, found.pdu, refused=refused)


CODECS = {one.name: one for one in (SimulatorMbap, SimulatorRtu, ProbeMbap, ProbeRtu)}


def corpus(name):
    """The cases of a codec's file: segments in hex, `|` between them, one case a line."""
    text = (CORPUS / f"{name}.hex").read_text(encoding="utf-8")
    lines = [line.partition("#")[0].strip() for line in text.splitlines()]
    return [[bytes.fromhex(part) for part in line.split("|")] for line in lines if line]


def case_line(segments):
    return " | ".join(segment.hex(" ").upper() for segment in segments)
