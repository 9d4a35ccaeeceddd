"""What virtual panels with a living bus cost: by the hour of panel time from 8 to 512 channels, and
a thousand of them at real speed. `python tests/benchmarks/living_panels.py` prints both tables.

Seconds are of computing (CPU time of the process), so that a busy machine does not count.
"""

import asyncio
import os
import random
import struct
import subprocess
import sys
import time
from dataclasses import dataclass

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.session import Session
from gaswitness_simulator.stimulus import Exponential, GasTo, Press, Ramp, Step
from gaswitness_simulator.tcp import serve_tcp
from gaswitness_sitefile.site import Site

LEVELS = {"A1": {"setpoint": 20, "hysteresis": 2}, "A2": {"setpoint": 40, "latching": True}}
COURSES = (Ramp(60.0, 120.0), Step(50.0), Step(0.0), Exponential(0.0, 60.0))
GAS_EACH_S = 3600.0
"""So often a channel's gas changes, on average."""


def site_of(channels: int, *, bus: bool = True, noise: float = 0.5) -> Site:
    """So many detectors on one line, an output for every eight; every reading and flag mapped."""
    tags = [f"AT-{n}" for n in range(1, channels + 1)]
    outputs = [f"K{n}" for n in range(1, channels // 8 + 2)]
    channel = {"gas": "CH4", "unit": "%LEL", "range": [0, 100], "t90_s": 12, "noise": noise}
    found = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "timing": {"scan_s": 0.5, "refresh_s": 0.1, "warm_up_s": 30, "heartbeat_s": 1},
        "channels": [{"tag": tag, **channel, "levels": LEVELS} for tag in tags],
        "outputs": [{"tag": tag, "kind": "relay"} for tag in outputs],
        "matrix": list(_cells(tags, outputs)),
        "map": {"gaps": "zeros"},
        "points": list(_points(tags, outputs)),
    }
    return Site.model_validate({**found, "bus": _line(tags)} if bus else found)


def _line(tags: list[str]) -> dict[str, object]:
    """A device every 2 m, each asked for 10 ms in the scan of the bus."""
    return {
        "supply_v": 26.5,
        "limit_a": 100,
        "cable": {"cross_section_mm2": 4, "conductor_class": 2},
        "scan": {"device_s": 0.01, "missed": 3},
        "terminator": tags[-1],
        "devices": [
            {"tag": tag, "address": n, "draws": {"power_w": 0.02}, "least_v": 10}
            for n, tag in enumerate(tags, 1)
        ],
        "segments": [
            {"from": before, "to": tag, "length_m": 2}
            for before, tag in zip(["panel", *tags], tags, strict=False)
        ],
    }


def _cells(tags: list[str], outputs: list[str]):
    yield {"cause": "panel.fault", "effect": outputs[-1], "response_s": 3}
    for at, tag in enumerate(tags):
        output = outputs[at // 8]
        yield {"cause": f"{tag}.A1", "effect": output, "response_s": 3}
        yield {"cause": f"{tag}.A2", "effect": output, "on_delay_s": 5, "response_s": 3}


def _points(tags: list[str], outputs: list[str]):
    def point(name, table, address, kind, shows):
        keys = ("name", "table", "address", "type", "shows")
        return dict(zip(keys, (name, table, address, kind, shows), strict=True))

    for at, tag in enumerate(tags):
        yield point(f"{tag} r", "input register", 2 * at, "float32", f"{tag}.reading")
        for bit, what in enumerate(("A1", "A2", "fault", "inhibit")):
            yield point(f"{tag} {what}", "discrete input", 4 * at + bit, "bit", f"{tag}.{what}")
    for at, tag in enumerate(outputs):
        yield point(f"{tag} a", "coil", at, "bit", f"{tag}.active")
    yield point("heartbeat", "holding register", 0, "uint16", "heartbeat")


def reads_of(channels: int) -> list[tuple[int, int, int]]:
    """The whole map in as few requests as the protocol allows: function, address, quantity."""
    registers, bits = 2 * channels, 4 * channels
    found = [(4, at, min(124, registers - at)) for at in range(0, registers, 124)]
    found += [(2, at, min(2000, bits - at)) for at in range(0, bits, 2000)]
    return [*found, (1, 0, channels // 8 + 1), (3, 0, 1)]


def hours_of(channels: int, hours: float, *, bus: bool = True) -> float:
    """Seconds of computing for so many hours of a panel that is read whole every second."""
    panel = VirtualPanel(site_of(channels, bus=bus), seed=1)
    session = Session(VirtualDevice(panel))
    chance = random.Random(5)
    requests = [
        struct.pack(">HHHBBHH", n, 0, 6, 1, *one) for n, one in enumerate(reads_of(channels))
    ]
    event_s = 60.0
    begun = time.process_time()
    for second in range(int(hours * 3600)):
        while second >= event_s:
            tag = f"AT-{chance.randint(1, channels)}"
            panel.apply(GasTo(tag, chance.choice(COURSES)), second)
            if chance.random() < 0.3:
                panel.apply(Press("reset"), second)
            event_s += chance.expovariate(channels / GAS_EACH_S)
        for request in requests:
            (answer,) = session.receive(request, second + 0.01)
            if answer.data[7] & 0x80:
                raise RuntimeError(f"refused: {answer.data.hex(' ')}")
    return time.process_time() - begun


@dataclass(frozen=True)
class Lived:
    """`share`: of one core that the process of the panels took. `reads_s`: answers in a second of
    all panels together. `slowest_s`: the slowest of the answers, the machine's other work in it."""

    panels: int
    seconds: float
    share: float
    reads_s: float
    slowest_s: float

    @property
    def machine(self) -> float:
        """The share of the whole machine."""
        return self.share / (os.cpu_count() or 1)


async def lived(panels: int = 1000, seconds: float = 10.0, channels: int = 8) -> Lived:
    """Panels at real speed, each read once a second by a process of its own."""
    loop = asyncio.get_running_loop()
    site = site_of(channels)
    since = loop.time() - 60.0
    servers = [
        await serve_tcp(
            VirtualDevice(VirtualPanel(site, seed=number)), "127.0.0.1", 0,
            lambda: loop.time() - since,
        )
        for number in range(panels)
    ]  # fmt: skip
    ports = ",".join(str(server.port) for server in servers)
    asker = await asyncio.create_subprocess_exec(
        sys.executable, __file__, "--ask", str(seconds), ports,
        stdout=subprocess.PIPE,
    )  # fmt: skip
    if asker.stdout is None or (await asker.stdout.readline()) != b"connected\n":
        raise RuntimeError("the process that reads did not begin")
    cpu, wall = time.process_time(), time.perf_counter()
    answers, slowest_s = (float(x) for x in (await asker.stdout.readline()).split())
    cpu, wall = time.process_time() - cpu, time.perf_counter() - wall
    await asker.wait()
    for server in servers:
        await server.close()
    return Lived(panels, wall, cpu / wall, answers / wall, slowest_s)


async def ask(seconds: float, ports: list[int]) -> None:
    """Read 16 input registers of each port once a second; print how many answers came."""
    request = bytes.fromhex("0001 0000 0006 01 04 0000 0010")
    pairs = [await asyncio.open_connection("127.0.0.1", port) for port in ports]
    print("connected", flush=True)
    loop = asyncio.get_running_loop()
    begun, slowest_s, answers = loop.time(), 0.0, 0

    async def poll(number: int) -> None:
        nonlocal slowest_s, answers
        reader, writer = pairs[number]
        due_s = begun + number / len(pairs)
        while due_s < begun + seconds:
            await asyncio.sleep(max(0.0, due_s - loop.time()))
            sent_s = loop.time()
            writer.write(request)
            if (await reader.readexactly(41))[7] != 4:
                raise RuntimeError("a panel refused the read")
            slowest_s = max(slowest_s, loop.time() - sent_s)
            answers += 1
            due_s += 1.0

    await asyncio.gather(*(poll(number) for number in range(len(pairs))))
    print(answers, slowest_s, flush=True)


def main() -> None:
    if "--ask" in sys.argv:
        asyncio.run(ask(float(sys.argv[2]), [int(port) for port in sys.argv[3].split(",")]))
        return
    for channels in (8, 64, 512):
        hours = max(0.25, 8 / channels)
        cost_s = hours_of(channels, hours) / hours
        each_ms = 1e3 * cost_s / channels
        print(f"{channels:4} channels: {cost_s:7.3f} s an hour, {each_ms:6.2f} ms a channel")
    print(asyncio.run(lived()))


if __name__ == "__main__":
    main()
