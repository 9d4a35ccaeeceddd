"""How fast the virtual panel is served over TCP, beside other servers, in one run:
`python tests/benchmarks/wire_speed.py` prints requests a second and the ratios to an echo."""

import argparse
import tempfile
from contextlib import ExitStack
from pathlib import Path

from wire_driver import asked, build_libmodbus_server, python_server, running
from wire_servers import KINDS

CONNECTIONS = (1, 10, 100)


def commands(folder):
    found = {kind: python_server(kind) for kind in KINDS}
    in_c = build_libmodbus_server(folder)
    if in_c is not None:
        found["libmodbus"] = in_c
    return found


def measured(found, connections=CONNECTIONS, rounds=3, seconds=0.5):
    """{(kind, connections): Rate}, the best of rounds taken in turn: other work of the machine
    falls on all alike, and only ever slows."""
    rates = {}
    with ExitStack() as stack:
        ports = {kind: stack.enter_context(running(command)) for kind, command in found.items()}
        for _ in range(rounds):
            for number in connections:
                for kind, port in ports.items():
                    rates.setdefault((kind, number), []).append(asked(port, number, seconds))
    return {at: max(some, key=lambda rate: rate.per_s) for at, some in rates.items()}


def table(rates):
    kinds = list(dict.fromkeys(kind for kind, _ in rates))
    yield f"{'connections':12}" + "".join(f"{kind:>24}" for kind in kinds)
    for number in dict.fromkeys(number for _, number in rates):
        base = rates["echo", number].per_s
        cells = [rates[kind, number] for kind in kinds]
        yield f"{number:<12}" + "".join(
            f"{r.per_s:10.0f}/s {r.per_s / base:5.2f} ({r.driver:3.0%})" for r in cells
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=0.3)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        rates = measured(commands(Path(folder)), rounds=chosen.rounds, seconds=chosen.seconds)
    for line in table(rates):
        print(line)
    print("requests a second, the ratio to the echo, the driver's own load")


if __name__ == "__main__":
    main()
