"""A thousand virtual panels in one process, each on a port of its own: how long they take to start,
what memory each takes, and how long one read of all takes. `python tests/benchmarks/many_panels.py`
"""

import asyncio
import time
from dataclasses import dataclass
from pathlib import Path

from wire_servers import wide_demo

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.tcp import serve_tcp

REQUEST = bytes.fromhex("0001 0000 0006 01 04 0000 0064")
ANSWER_BYTES = 209
AT_ONCE = 50


@dataclass(frozen=True)
class Many:
    """`kib_each`: None where the system does not tell a process's memory."""

    panels: int
    start_s: float
    kib_each: float | None
    read_s: float


def memory_kib():
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * 4
    except OSError:
        return None


async def measured(panels=1000):
    loop = asyncio.get_running_loop()
    site = wide_demo()
    before, begun = memory_kib(), time.perf_counter()
    since = loop.time() - 60.0
    servers = [
        await serve_tcp(
            VirtualDevice(VirtualPanel(site, seed=number)), "127.0.0.1", 0,
            lambda: loop.time() - since,
        )
        for number in range(panels)
    ]  # fmt: skip
    start_s = time.perf_counter() - begun
    after = memory_kib()
    begun = time.perf_counter()
    free = asyncio.Semaphore(AT_ONCE)

    async def read(port):
        async with free:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.write(REQUEST)
            answer = await reader.readexactly(ANSWER_BYTES)
            writer.close()
            return answer

    answers = await asyncio.gather(*(read(server.port) for server in servers))
    read_s = time.perf_counter() - begun
    if {answer[:9] for answer in answers} != {bytes.fromhex("0001 0000 00CB 01 04 C8")}:
        raise RuntimeError("not every panel answered the read")
    for server in servers:
        await server.close()
    each = None if before is None or after is None else (after - before) / panels
    return Many(panels, start_s, each, read_s)


def main():
    found = asyncio.run(measured())
    each = "unknown" if found.kib_each is None else f"{found.kib_each:.0f} KiB each"
    print(
        f"{found.panels} panels of the demo: started in {found.start_s:.2f} s, {each}, "
        f"one read of 100 registers from each in {found.read_s:.2f} s"
    )


if __name__ == "__main__":
    main()
