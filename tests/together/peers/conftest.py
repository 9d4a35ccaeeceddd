"""The demo's virtual panel with a story behind it, served on a thread while the test's own thread
plays a client of another make. Time stands still until the test moves it."""

import asyncio
import threading
from dataclasses import dataclass, field

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import ChannelFault, GasTo, Inhibit, InputSet, Press, Step
from gaswitness_simulator.tcp import serve_tcp

STORY = (
    (40.0, GasTo("AT-101", Step(60.0))),
    (40.0, GasTo("AT-102", Step(60.0))),
    (40.0, GasTo("AT-501", Step(9000.0))),
    (40.0, ChannelFault("AT-301", on=True)),
    (40.0, Inhibit("AT-401", on=True)),
    (40.0, InputSet("DI-2", on=True)),
    (150.0, Press("mute")),
)
TOLD_S = 161.0


@dataclass
class Served:
    """`now_s` is the panel's time: what has not been asked for since has not happened yet."""

    panel: VirtualPanel
    device: VirtualDevice
    now_s: float = TOLD_S
    loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.new_event_loop)

    def now(self):
        return self.now_s

    def opened(self, opening):
        """Run a coroutine on the server's loop."""
        return asyncio.run_coroutine_threadsafe(opening, self.loop).result(10)


@pytest.fixture
def served(demo):
    panel = VirtualPanel(demo.site)
    for at_s, stimulus in STORY:
        panel.apply(stimulus, at_s)
    panel.advance(TOLD_S)
    found = Served(panel, VirtualDevice(panel))
    thread = threading.Thread(target=found.loop.run_forever)
    thread.start()
    yield found
    found.loop.call_soon_threadsafe(found.loop.stop)
    thread.join(5)
    found.loop.close()


@pytest.fixture
def tcp_port(served):
    server = served.opened(serve_tcp(served.device, "127.0.0.1", 0, served.now))
    yield server.port
    served.opened(server.close())
