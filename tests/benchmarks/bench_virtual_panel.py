"""How long a virtual panel takes for an eight-hour day that a client polls every second.

Run: python tests/benchmarks/bench_virtual_panel.py [--profile]

64 channels, 16 outputs, 129 cells, a gas event every one to five minutes; the whole map is read
every second in five requests. Prints seconds of computing by noise and type of reading. Not a test.
"""

import cProfile
import pstats
import random
import struct
import sys
import time

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.session import Session
from gaswitness_simulator.stimulus import Exponential, GasTo, Press, Ramp, Step
from gaswitness_sitefile.site import Site

CHANNELS = range(64)
DAY_S = 8 * 3600
READS = [(4, 0, 125), (4, 125, 2), (2, 0, 256), (1, 0, 16), (3, 0, 1)]
PROFILES = [Ramp(60.0, 120.0), Step(50.0), Step(0.0), Exponential(0.0, 60.0)]


def large_site(noise: float, kind: str) -> Site:
    levels = {"A1": {"setpoint": 20, "hysteresis": 2}, "A2": {"setpoint": 40, "latching": True}}
    channel = {"gas": "CH4", "unit": "%LEL", "range": [0, 100], "noise": noise, "levels": levels}
    flags = ("A1", "A2", "fault", "inhibit")
    cells = [{"cause": "panel.fault", "effect": "K15", "response_s": 3}]
    points = [("input register", 2 * n, kind, f"AT-{n}.reading") for n in CHANNELS]
    for n in CHANNELS:
        cells += [
            {"cause": f"AT-{n}.A1", "effect": f"K{n % 15}", "response_s": 3},
            {"cause": f"AT-{n}.A2", "effect": f"K{(n + 3) % 15}", "on_delay_s": 5, "response_s": 3},
        ]
        points += [("discrete input", 4 * n + i, "bit", f"AT-{n}.{w}") for i, w in enumerate(flags)]
    points += [("coil", n, "bit", f"K{n}.active") for n in range(16)]
    points.append(("holding register", 0, "uint16", "heartbeat"))
    keys = ("table", "address", "type", "shows")
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GDP-1"},
            "timing": {"scan_s": 0.5, "refresh_s": 0.1, "warm_up_s": 30, "heartbeat_s": 1},
            "channels": [{"tag": f"AT-{n}", **channel} for n in CHANNELS],
            "outputs": [{"tag": f"K{n}", "kind": "relay"} for n in range(16)],
            "matrix": cells,
            "map": {"gaps": "zeros"},
            "points": [
                {"name": f"{row[0]} {row[1]}", **dict(zip(keys, row, strict=True))}
                for row in points
            ],
        }
    )


def day(site: Site) -> float:
    """Seconds of computing for the day."""
    panel = VirtualPanel(site, seed=1)
    session = Session(VirtualDevice(panel))
    chance = random.Random(5)
    requests = [struct.pack(">HHHBBHH", n, 0, 6, 1, *read) for n, read in enumerate(READS)]
    event_s = 60.0
    begun = time.perf_counter()
    for second in range(DAY_S):
        if second >= event_s:
            tag = f"AT-{chance.choice(CHANNELS)}"
            panel.apply(GasTo(tag, chance.choice(PROFILES)), second)
            if chance.random() < 0.3:
                panel.apply(Press("reset"), second)
            event_s = second + chance.uniform(60, 300)
        for request in requests:
            (answer,) = session.receive(request, second + 0.01)
            assert answer.data[7] < 0x80
    return time.perf_counter() - begun


def main() -> None:
    if "--profile" in sys.argv:
        profile = cProfile.Profile()
        profile.runcall(day, large_site(0.5, "float32"))
        pstats.Stats(profile).sort_stats("tottime").print_stats(15)
        return
    for noise in (0.0, 0.5):
        for kind in ("int16", "float32"):
            print(f"noise {noise}, readings as {kind}: {day(large_site(noise, kind)):.2f} s")


if __name__ == "__main__":
    main()
