"""Servers to compare speeds with, each run in a process of its own: `python wire_servers.py KIND`
prints the port that it serves on 127.0.0.1, and serves until its standard input closes.

Every one of them answers a read of 100 input registers from address 0, unit 1.
"""

import asyncio
import struct
import sys

from gaswitness_scenarios.library import demo_site_path
from gaswitness_simulator import tcp
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.outgoing import AS_IT_IS
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import Access, Point, PointType, Table
from gaswitness_sitefile.site import Site

REGISTERS = 100
ANSWER_BYTES = 9 + 2 * REGISTERS


def wide_demo() -> Site:
    """The demo, its input registers readable from 0 to 99: its gaps there read as zeros."""
    site = load_site(demo_site_path()).site
    last = Point(
        name="last",
        table=Table.INPUT,
        address=REGISTERS - 1,
        type=PointType.UINT16,
        shows="spare",
        access=Access.READ,
    )
    return site.model_copy(update={"points": (*site.points, last)})


class Echo(asyncio.Protocol):
    """Sends the bytes of an answer for every 12 bytes that come; looks at the transaction alone."""

    BODY = struct.pack(">HHBBB", 0, ANSWER_BYTES - 6, 1, 4, 2 * REGISTERS) + bytes(2 * REGISTERS)

    def connection_made(self, transport):
        self.transport = transport

    def data_received(self, data):
        for at in range(0, len(data), 12):
            self.transport.write(data[at : at + 2] + self.BODY)


async def echo():
    server = await asyncio.get_running_loop().create_server(Echo, "127.0.0.1", 0)
    return server.sockets[0].getsockname()[1]


async def panel(shaper=AS_IT_IS):
    """The demo's virtual panel, live: its noise moves, it is scanned and refreshed in real time."""
    loop = asyncio.get_running_loop()
    device = VirtualDevice(VirtualPanel(wide_demo()))
    tcp.MOST_SESSIONS = 1000
    begun = loop.time() - 60.0
    server = await tcp.serve_tcp(device, "127.0.0.1", 0, lambda: loop.time() - begun, shaper=shaper)
    KEPT.append(server)
    return server.port


async def panel_with_idle_faults():
    """The same where link faults can be given at any time, none acting now."""
    return await panel(FaultPlan())


async def panel_with_faults():
    """The same with two link faults in force, each of which meets one answer in a thousand."""
    plan = FaultPlan()
    for text in ("late 1 ms, 0.1 %", "split 2 pieces 1 ms, 0.1 %"):
        plan.begin(parse_link_fault(text), 0.0)
    return await panel(plan)


KEPT: list[object] = []


async def pymodbus():
    import logging

    from pymodbus.server import ModbusTcpServer
    from pymodbus.simulator import DataType, SimData, SimDevice

    logging.disable()
    values = [i * 257 & 0xFFFF for i in range(200)]
    device = SimDevice(1, simdata=[SimData(0, values=values, datatype=DataType.REGISTERS)])
    server = ModbusTcpServer(device, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    KEPT.append(server)
    return server.transport.sockets[0].getsockname()[1]


KINDS = {
    "echo": echo,
    "panel": panel,
    "panel, no fault": panel_with_idle_faults,
    "panel, faults": panel_with_faults,
    "pymodbus": pymodbus,
}


async def serve(kind: str) -> None:
    port = await KINDS[kind]()
    print(port, flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)


if __name__ == "__main__":
    asyncio.run(serve(sys.argv[1]))
