"""Runs of a plan that are killed without warning and resumed: how often, and whether anything was
lost. As a script it does many:

    python tests/together/killed_runs.py --kills 200
"""

import argparse
import json
import random
import re
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROGRAM = [sys.executable, "-c", "from gaswitness.cli import main; main()"]
SPEED = "25"
PATIENCE_S = 120

SITE = """
gaswitness_site: 1
panel: {tag: P-1, name: Kiln shed}
pace: {poll_period_s: 1}
timing: {scan_s: 0.5, refresh_s: 0.1, shortest_dwell_s: 6, heartbeat_s: 4}
channels:
  - tag: AT-1
    gas: CO
    unit: ppm
    range: [0, 100]
    t90_s: 4
    levels:
      A1: {setpoint: 30, hysteresis: 3}
      A2: {setpoint: 60, hysteresis: 3, latching: true}
  - {tag: AT-2, gas: CO, unit: ppm, range: [0, 100], t90_s: 4, levels: {A1: {setpoint: 30}}}
inputs:
  - {tag: DI-1, kind: stop button}
outputs:
  - {tag: V1, kind: valve}
  - {tag: S1, kind: sounder, mutable: true}
matrix:
  - {cause: AT-1.A2, effect: V1, response_s: 8}
  - {cause: AT-2.fault, effect: V1, response_s: 8}
  - {cause: any.A1, effect: S1, response_s: 8}
  - {cause: DI-1.active, effect: S1, latching: true, response_s: 8}
points:
  - {name: 1 is, table: input register, address: 0, type: float32, shows: AT-1.reading, unit: ppm}
  - {name: 2 is, table: input register, address: 2, type: float32, shows: AT-2.reading, unit: ppm}
  - {name: beat, table: input register, address: 4, type: uint16, shows: heartbeat}
  - {name: 1 A1, table: discrete input, address: 0, type: bit, shows: AT-1.A1}
  - {name: 1 A2, table: discrete input, address: 1, type: bit, shows: AT-1.A2}
  - {name: 2 A1, table: discrete input, address: 2, type: bit, shows: AT-2.A1}
  - {name: 1 fault, table: discrete input, address: 3, type: bit, shows: AT-1.fault}
  - {name: 2 fault, table: discrete input, address: 4, type: bit, shows: AT-2.fault}
  - {name: 1 inhibit, table: discrete input, address: 5, type: bit, shows: AT-1.inhibit}
  - {name: 2 inhibit, table: discrete input, address: 6, type: bit, shows: AT-2.inhibit}
  - {name: stop, table: discrete input, address: 7, type: bit, shows: DI-1.active}
  - {name: fault, table: discrete input, address: 8, type: bit, shows: panel.fault}
  - {name: valve, table: coil, address: 0, type: bit, shows: V1.active}
  - {name: sounder, table: coil, address: 1, type: bit, shows: S1.active}
  - {name: muted, table: coil, address: 2, type: bit, shows: S1.muted}
"""

PLAN = """
gaswitness_script: 1
title: Kiln shed
steps:
  - hold_s: 20
  - test: {id: T-1, title: Second level, proves: "cell/AT-1.A2 > V1: rises", moves: [V1, S1]}
  - gas: {channel: AT-1, to: past A2}
  - hold_s: 14
  - press: mute
  - hold_s: 12
  - gas: {channel: AT-1, to: clean}
  - hold_s: 16
  - press: reset
  - hold_s: 12
  - press: accept
  - hold_s: 3
  - test: {id: T-2, title: Fault shuts the valve, proves: "cell/AT-2.fault > V1: rises", moves: V1}
  - fault: AT-2
  - hold_s: 12
  - fault_clear: AT-2
  - hold_s: 12
  - press: accept
  - hold_s: 3
  - test: {id: T-3, title: The stop, proves: "cell/DI-1.active > S1: rises", moves: S1}
  - input: {tag: DI-1, active: on}
  - hold_s: 12
  - input: {tag: DI-1, active: off}
  - hold_s: 10
  - press: reset
  - hold_s: 12
  - test: {id: T-4, title: An inhibited channel drives nothing, proves: "flag/AT-1.inhibit: comes"}
  - inhibit: AT-1
  - hold_s: 6
  - gas: {channel: AT-1, to: past A1}
  - hold_s: 12
  - gas: {channel: AT-1, to: clean}
  - hold_s: 16
  - uninhibit: AT-1
  - hold_s: 8
  - test: {id: T-5, title: The other first level, proves: "cell/any.A1 > S1: rises", moves: S1}
  - gas: {channel: AT-2, to: past A1}
  - hold_s: 14
  - gas: {channel: AT-2, to: clean}
  - hold_s: 16
"""


class Served:
    """A virtual panel in a process of its own, with the plan, until it is closed."""

    def __init__(self, folder: Path) -> None:
        self.site, self.plan = folder / "site.yaml", folder / "plan.yaml"
        self.site.write_text(SITE)
        self.plan.write_text(PLAN)
        arguments = ["serve", str(self.site), "--listen", "127.0.0.1:0", "--speed", SPEED]
        self.process = subprocess.Popen(
            [*PROGRAM, *arguments, "--script", str(self.plan)],
            stdout=subprocess.PIPE,
            text=True,
            bufsize=1,
        )
        lines: list[str] = []
        assert self.process.stdout is not None
        while not (lines and lines[-1].startswith("speed")):
            lines.append(self.process.stdout.readline())
            if not lines[-1]:
                raise RuntimeError("".join(lines))
        self.link = re.search(r"listening on (\S+)", "".join(lines))[1]
        # What it goes on to say fills no pipe that nobody reads.
        self.drain = subprocess.Popen(["cat"], stdin=self.process.stdout, stdout=subprocess.DEVNULL)

    def close(self) -> None:
        for process in (self.process, self.drain):
            process.kill()
            process.wait()
        self.process.stdout.close()

    def begin(self, out: Path) -> subprocess.Popen:
        """A run of the plan, begun."""
        asked = ["--link", self.link, "--plan", str(self.plan), "--out", str(out)]
        return self._witness(asked)

    def go_on(self, out: Path) -> subprocess.Popen:
        """A run that broke off, gone on with."""
        return self._witness(["--resume", str(out)])

    def _witness(self, asked: list[str]) -> subprocess.Popen:
        command = ["witness", str(self.site), *asked, "--script-driver", "auto", "--quiet"]
        return subprocess.Popen(
            [*PROGRAM, *command], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )


def ended(process: subprocess.Popen) -> int:
    """Its exit code; RuntimeError with what it said where that is no code of a verdict, nor says
    that the one before had come to its end."""
    said, _ = process.communicate(timeout=PATIENCE_S)
    if "there is nothing to go on with" in said:
        return 0
    if process.returncode not in (0, 1, 3):
        raise RuntimeError(f"exit {process.returncode}: {said}")
    return process.returncode


def killed_at(process: subprocess.Popen, record: Path, after_s: float) -> bool:
    """Kill it so long after its record came to be; whether it still ran."""
    limit = time.monotonic() + PATIENCE_S
    while not record.exists() and time.monotonic() < limit:
        time.sleep(0.01)  # noqa: TID251 - another process is waited for
    time.sleep(after_s)  # noqa: TID251
    alive = process.poll() is None
    process.send_signal(signal.SIGKILL)
    process.communicate()
    return alive


def entries(record: Path) -> list[tuple]:
    """All entries that survived."""
    with sqlite3.connect(f"file:{record}?mode=ro", uri=True) as db:
        if not db.execute("SELECT 1 FROM sqlite_master WHERE name = 'entry'").fetchall():
            return []
        return db.execute("SELECT seq, at_s, kind, body, chain FROM entry ORDER BY seq").fetchall()


def verdicts(out: Path) -> dict[str, str]:
    """Outcomes by the verdicts' ids."""
    return {one["id"]: one["verdict"] for one in _found(out)}


def _found(out: Path) -> list[dict]:
    return json.loads((out / "verdicts.json").read_text())["verdicts"]


def differing(served: Served, folder: Path, kills: list[float], expected: dict[str, str]) -> list:
    """One run killed so long after it began, and after each resumption; what differs in the end."""
    out = folder / "run"
    record = out / "run.sqlite"
    process, before = served.begin(out), []
    troubles: list = []
    for after_s in kills:
        alive = killed_at(process, record, after_s)
        survived = entries(record)
        if survived[: len(before)] != before:
            troubles.append(f"entries were lost or changed after {after_s:.2f} s")
        before = survived
        if not alive:
            break
        if not any(kind == "run" for _, _, kind, _, _ in survived):
            return [*troubles, "unbegun"]
        process = served.go_on(out)
    else:
        ended(process)
    now = verdicts(out)
    because = {one["id"]: one["because"] for one in _found(out)}
    troubles += [
        f"{one}: {expected.get(one)} undisturbed, {now.get(one)} after kills at {kills}, "
        f"because {because.get(one)}"
        for one in dict.fromkeys([*expected, *now])
        if expected.get(one) != now.get(one)
    ]
    checked = subprocess.run(
        [*PROGRAM, "verify", str(record)], check=False, capture_output=True, text=True
    )
    if checked.returncode != 0:
        troubles.append(checked.stdout)
    return troubles


def _instants(asked: argparse.Namespace, length_s: float) -> list[list[float]]:
    """Seconds after its begin, and then after each resumption, at which each run is killed."""
    chance = random.Random(asked.seed)
    runs = -(-asked.kills // asked.each)
    return [
        [chance.uniform(0.0, (length_s - 1.0) / (1 if n == 0 else 2)) for n in range(asked.each)]
        for _ in range(runs)
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--each", type=int, default=4, help="so many of them in one run")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--at", type=float, action="append", help="kill then, in seconds, alone")
    parser.add_argument("--keep", type=Path, help="a new folder, kept in the end")
    asked = parser.parse_args()
    bad = 0
    with tempfile.TemporaryDirectory() as name:
        folder = asked.keep or Path(name)
        folder.mkdir(exist_ok=True)
        served = Served(folder)
        try:
            begun = time.monotonic()
            ended(served.begin(folder / "undisturbed"))
            length_s = time.monotonic() - begun
            expected = verdicts(folder / "undisturbed")
            proven = sum(one == "proven" for one in expected.values())
            print(f"undisturbed: {length_s:.1f} s, {proven} of {len(expected)} proven", flush=True)
            runs = [asked.at] if asked.at else _instants(asked, length_s)
            for number, instants_s in enumerate(runs, 1):
                here = folder / f"{number}"
                here.mkdir()
                troubles = differing(served, here, instants_s, expected)
                bad += bool(troubles) and troubles != ["unbegun"]
                when = ", ".join(f"{at_s:.2f}" for at_s in instants_s)
                print(f"{number}: killed at {when} s: {troubles or 'the same'}", flush=True)
        finally:
            served.close()
    print(f"{sum(map(len, runs))} kills of {len(runs)} runs, {bad} with another end")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
