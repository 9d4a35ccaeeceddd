"""One fault, one link, a few reads: what the probe makes of it, in words.

The panel shows fifty constants and one moving reading. What a read should give is asked of the
panel itself, past the link, so that a wrong value that is taken for right shows.
"""

import asyncio
import atexit
import shutil
from contextlib import asynccontextmanager
from functools import cache
from tempfile import mkdtemp

import trustme

from gaswitness_probe.client import Client
from gaswitness_probe.framing import MbapFraming
from gaswitness_probe.links import open_link
from gaswitness_probe.rtu_framing import RtuFraming
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import Latency
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.serial_line import SerialLineServer
from gaswitness_simulator.stimulus import GasTo, Step
from gaswitness_simulator.tcp import TcpServer
from gaswitness_simulator.tls import server_context
from gaswitness_simulator.units import Units
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import LinkAddress, SerialLine, TlsFiles
from gaswitness_sitefile.link_fault import OF_CONNECTIONS
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

PACE = Pace(timeout_s=0.5)
SETTLE_S = 0.12
CONSTANTS = range(2, 52)
TRIES = 12
MOST_BACK_OFF_S = 0.45


def a_site():
    """AT-1's reading as float32 at 0, then constants that no two registers share."""
    constants = [
        {
            "name": f"c{address}",
            "table": "holding register",
            "address": address,
            "type": "uint16",
            "shows": "constant",
            "value": 1000 + 7 * address,
        }
        for address in CONSTANTS
    ]
    reading = {
        "name": "reading",
        "table": "holding register",
        "address": 0,
        "type": "float32",
        "shows": "AT-1.reading",
    }
    channel = {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "t90_s": 0}
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GDP-1"},
            "timing": {"scan_s": 0.02, "refresh_s": 0, "warm_up_s": 0},
            "channels": [channel],
            "points": [reading, *constants],
        }
    )


SITE = a_site()


@cache
def tls_files():
    """Files for client and panel, certified by one authority, in a folder that goes at the end."""
    folder = mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    authority = trustme.CA()
    ca = f"{folder}/ca.pem"
    authority.cert_pem.write_to_path(ca)
    found = []
    for who in ("client", "panel"):
        made = authority.issue_cert("127.0.0.1")
        files = TlsFiles(ca, f"{folder}/{who}.pem", f"{folder}/{who}.key")
        made.private_key_pem.write_to_path(files.key)
        for blob in made.cert_chain_pems:
            blob.write_to_path(files.cert, append=True)
        found.append(files)
    return tuple(found)


class Bench:
    """A panel, the faults of its link, and a client on it."""

    def __init__(self, link, seed=0):
        self.link = link
        self.clock = LoopClock()
        self.panel = VirtualPanel(SITE)
        self.device = VirtualDevice(self.panel)
        self.plan = FaultPlan(seed, panels={1: self.panel}, now=self.clock.now)
        # Acts on nobody here; with it the plan sees every answer from the first one on.
        self.plan.begin(parse_link_fault("silent, unit 99"), 0.0)
        self.client = None
        self.address = None
        self.arrive = lambda at_s: None

    @asynccontextmanager
    async def served(self):
        """The link, served; `client` may connect."""
        transport, framing, close = await self._ends()
        self.client = Client(transport, unit=1, clock=self.clock, pace=PACE, framing=framing)
        try:
            yield self
        finally:
            await self.client.close()
            await close()

    async def _ends(self):
        rtu = "rtu" in self.link or self.link == "pty"
        framing = RtuFraming(None, PACE.timeout_s) if rtu else MbapFraming()
        if self.link.startswith("memory"):
            transport = MemoryTransport(
                self.device,
                self.clock.now,
                Latency(0.001, 0.001),
                shaper=self.plan,
                framing="rtu" if rtu else "mbap",
            )
            self.arrive = transport.arrive_until
            return transport, framing, _nothing
        units = Units([self.device])
        if self.link == "pty":
            address = LinkAddress("rtu", device="pty", serial=SerialLine(115200))
            line = SerialLineServer(units, address, self.clock.now, shaper=self.plan, connection=1)
            line.open()

            async def close_line():
                line.close()

            return *open_link(line.address, PACE), close_line
        ours, theirs = tls_files() if self.link == "tls" else (None, None)
        server = TcpServer(
            units,
            self.clock.now,
            framing="rtu" if rtu else "mbap",
            shaper=self.plan,
            tls=None if theirs is None else server_context(theirs),
        )
        await server.listen("127.0.0.1", 0)
        self.address = LinkAddress(self.link, server.host, server.port, tls=ours)
        return *open_link(self.address, PACE), server.close

    async def another_client(self):
        """One more client of a panel on a socket."""
        transport, framing = open_link(self.address, PACE)
        return Client(transport, unit=1, clock=self.clock, pace=PACE, framing=framing)

    async def read(self, address, count):
        """What came of a read, in words; `WRONG VALUE` where a wrong one is taken for right."""
        exchange = await self.client.read(Table.HOLDING, address, count)
        if exchange.problem is not None:
            found = exchange.problem.deviation.value
        elif exchange.exception_code is not None:
            found = f"exception {exchange.exception_code:02X}"
        else:
            asked = bytes((3, 0, address, 0, count))
            now_s = self.clock.now()
            self.arrive(now_s)
            right = self.device.answer(1, asked, now_s) == exchange.pdu
            found = "answered" if right else "WRONG VALUE"
        notes = sorted({note.deviation.value for note in exchange.notes})
        return found + "".join(f" + {note}" for note in notes)

    def move(self, level):
        """Let the reading be another one."""
        self.arrive(self.clock.now())
        self.panel.apply(GasTo("AT-1", Step(level)), self.clock.now())


async def _nothing():
    return


async def reaction(link, written, seed=0):
    """What a read under the fault came to, then the next one: "no reply | answered + late reply".

    A read before them is whole. Written with ` / other shape`, the read under the fault has another
    length than the one before it. Ends with ` | stays down` where the link never recovers.
    """
    text, _, other = written.partition(" / ")
    fault = parse_link_fault(text)
    async with Bench(link, seed).served() as bench:
        early = isinstance(fault.kind, OF_CONNECTIONS)
        bench.move(20.3)
        await bench.clock.sleep_until(bench.clock.now() + SETTLE_S)
        if early:
            bench.plan.begin(fault, bench.clock.now())
        await bench.client.read(Table.HOLDING, 0, 6)
        if not early:
            bench.plan.begin(fault, bench.clock.now())
        bench.move(50.7)
        await bench.clock.sleep_until(bench.clock.now() + SETTLE_S)
        under = await bench.read(0, 8 if other else 6)
        after = await bench.read(20, 6)
        bench.plan.clear()
        for _ in range(TRIES):
            if await bench.read(30, 6) == "answered":
                return f"{under} | {after}"
            await asyncio.sleep(MOST_BACK_OFF_S)
        return f"{under} | {after} | stays down"
