"""Writes a large site and a long script for benchmarks: `python make_large_site.py FOLDER`.

Zones of eight detectors, each zone with a fan, a beacon, a sounder and a relay by a 2oo8 vote. In
the script one detector after the other rises through its levels and fails, the whole shift long.
"""

import argparse
import csv
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

ZONE: Final = 8
_GASES: Final = (
    ("CH4", "%LEL", 100, 10, 20, 0.1),
    ("NH3", "ppm", 100, 25, 35, 0.2),
    ("CO", "ppm", 300, 20, 100, 0.1),
    ("H2", "%LEL", 100, 10, 20, 0.1),
)
_SITE: Final = """gaswitness_site: 1
panel: {{tag: GDP-64, name: Panel for benchmarks, vendor: Virtual, product: Benchmark}}
pace: {{poll_period_s: {poll_s:g}}}
timing: {{scan_s: 0.5, refresh_s: 0.1, shortest_dwell_s: 2.0, heartbeat_s: 2.0, warm_up_s: 30}}
map: {{gaps: zeros}}
channels: {{file: channels.csv}}
outputs: {{file: outputs.csv}}
matrix: {{file: matrix.csv}}
points: {{file: points.csv}}
"""
_SCRIPT: Final = """gaswitness_script: 1
title: A shift of {hours:g} hours
text: One detector after the other rises slowly through its levels, fails, and comes back.
steps:
  - hold_s: 36
  - panel_fault: on
  - hold_s: 12
  - panel_fault: off
  - hold_s: 12
  - for_each:
      channel: all
      steps:
        - gas: {{channel: "{{channel}}", to: short of A1}}
        - {{at_s: 45, gas: {{channel: "{{channel}}", to: past A1, over_s: 60}}}}
        - {{at_s: 130, gas: {{channel: "{{channel}}", to: past A2, over_s: 60}}}}
        - {{at_s: 220, gas: {{channel: "{{channel}}", to: clean}}}}
        - {{at_s: 270, press: reset}}
        - {{at_s: 290, fault: "{{channel}}"}}
        - {{at_s: 310, fault_clear: "{{channel}}"}}
        - {{at_s: 330, press: accept}}
        - {{at_s: {rest_s:g}, hold_s: 1}}
"""
SHORTEST_ROUND_S: Final = 340.0
"""What one detector needs: with fewer hours than this allows, the script would go back in time."""

Row = dict[str, Any]


def make_large_site(
    folder: Path, *, channels: int = 64, hours: float = 8.0, poll_s: float = 1.0
) -> tuple[Path, Path]:
    """Write site file, tables and script into `folder`; the paths of site file and script.

    Raises ValueError if the hours are too few for a round of each channel.
    """
    round_s = (hours * 3600 - 60) / channels
    if round_s < SHORTEST_ROUND_S:
        least = (SHORTEST_ROUND_S * channels + 60) / 3600
        raise ValueError(f"{channels} channels need {least:.2f} hours or more, got {hours:g}")
    folder.mkdir(parents=True, exist_ok=True)
    tags = [f"AT-{number:03d}" for number in range(1, channels + 1)]
    zones = [tags[at : at + ZONE] for at in range(0, channels, ZONE)]
    _write(folder / "channels.csv", list(_channels(tags)))
    _write(folder / "outputs.csv", list(_outputs(len(zones))))
    _write(folder / "matrix.csv", list(_cells(zones)))
    _write(folder / "points.csv", list(_points(tags, len(zones))))
    site, script = folder / "site.yaml", folder / "scripts" / "shift.yaml"
    site.write_text(_SITE.format(poll_s=poll_s), "utf-8")
    script.parent.mkdir(exist_ok=True)
    script.write_text(_SCRIPT.format(hours=hours, rest_s=round_s - 1), "utf-8")
    return site, script


def _write(path: Path, rows: list[Row]) -> None:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _gas(at: int) -> tuple[str, str, int, int, int, float]:
    return _GASES[at % len(_GASES)]


def _channels(tags: list[str]) -> Iterator[Row]:
    for at, tag in enumerate(tags):
        gas, unit, high, a1, a2, noise = _gas(at)
        yield {
            "tag": tag,
            "gas": gas,
            "unit": unit,
            "range_low": 0,
            "range_high": high,
            "t90_s": 12,
            "noise": noise,
            "on_fault": "nan",
            "A1.setpoint": a1,
            "A1.hysteresis": 2,
            "A2.setpoint": a2,
            "A2.hysteresis": 2,
            "A2.latching": "yes",
        }


def _outputs(zones: int) -> Iterator[Row]:
    yield {"tag": "K0", "kind": "relay", "normally_energised": "yes"}
    for zone in range(1, zones + 1):
        yield {"tag": f"K{zone}", "kind": "relay", "normally_energised": "yes"}
        yield {"tag": f"F{zone}", "kind": "fan"}
        yield {"tag": f"B{zone}", "kind": "beacon"}
        yield {"tag": f"S{zone}", "kind": "sounder", "mutable": "yes"}


def _cells(zones: list[list[str]]) -> Iterator[Row]:
    yield {"cause": "panel.fault", "effect": "K0", "response_s": 4}
    for number, zone in enumerate(zones, 1):
        for tag in zone:
            yield {
                "cause": f"{tag}.A1",
                "effect": f"F{number}",
                "off_delay_s": 20,
                "response_s": 4,
            }
            yield {"cause": f"{tag}.A2", "effect": f"B{number}", "response_s": 4}
            yield {
                "cause": f"{tag}.A2",
                "effect": f"S{number}",
                "on_delay_s": 10,
                "early_s": 2,
                "response_s": 5,
            }
        if len(zone) > 1:
            vote = f"2oo{len(zone)}({', '.join(f'{tag}.A2' for tag in zone)})"
            yield {"cause": vote, "effect": f"K{number}", "response_s": 4}


def _points(tags: list[str], zones: int) -> Iterator[Row]:
    for at, tag in enumerate(tags):
        unit = _gas(at)[1]
        yield _point(f"{tag}.reading", "input register", 2 * at, "float32", unit)
        for level in (1, 2):
            row = _point(f"{tag}.A{level}.setpoint", "holding register", 2 * at + level, "uint16")
            yield {**row, "scale": 0.1, "unit": unit}
        for bit, what in enumerate(("A1", "A2", "fault", "inhibit")):
            yield _point(f"{tag}.{what}", "discrete input", 4 * at + bit, "bit")
    outputs = [str(row["tag"]) for row in _outputs(zones)]
    for at, output in enumerate(outputs):
        yield _point(f"{output}.active", "discrete input", 4 * len(tags) + at, "bit")
        yield _point(f"{output}.energised", "coil", at, "bit")
    for at, shows in enumerate(
        ("panel.fault", "panel.unaccepted", "any.A1", "any.A2", "any.fault")
    ):
        yield _point(shows, "discrete input", 4 * len(tags) + len(outputs) + at, "bit")
    for at in range(1, zones + 1):
        yield _point(f"S{at}.muted", "coil", len(outputs) + at, "bit")
    yield {**_point("heartbeat", "holding register", 0, "uint16"), "name": "Heartbeat"}


def _point(shows: str, table: str, address: int, kind: str, unit: str = "") -> Row:
    name = shows.replace(".", " ")
    return {
        "name": name,
        "table": table,
        "address": address,
        "type": kind,
        "shows": shows,
        "unit": unit,
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--channels", type=int, default=64)
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--poll-s", type=float, default=1.0)
    asked = parser.parse_args()
    made = make_large_site(
        asked.folder, channels=asked.channels, hours=asked.hours, poll_s=asked.poll_s
    )
    print(*made, sep="\n")
