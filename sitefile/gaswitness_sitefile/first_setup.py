"""The setup that a panel makes of the detectors it finds: channels, outputs, matrix, map.

From the bus section of a site to the data of a whole site file. Reads and writes no file.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from gaswitness_sitefile.bus import Bus, BusDevice, PortUse, Sensor
from gaswitness_sitefile.devices import Output, OutputKind
from gaswitness_sitefile.first_levels import first_levels
from gaswitness_sitefile.site import Site

FAULT_RELAY, ALARM_RELAY = "K-FAULT", "K-A1"
RESPONSE_S: Final = 5.0
"""An allowance, to be replaced by what the site demands."""

FIRST_LEVEL: Final = (OutputKind.BEACON, OutputKind.SOUNDER)
"""Act on the first level, everything else at a detector on the second; common practice, no
source."""

_LETTERS: Final = {
    OutputKind.RELAY: "K",
    OutputKind.BEACON: "B",
    OutputKind.SOUNDER: "S",
    OutputKind.VALVE: "V",
    OutputKind.FAN: "F",
}


@dataclass(slots=True)
class FirstSetup:
    """`data`: of the site file. `remarks`: what a person must know of it, or decide."""

    data: dict[str, Any]
    remarks: list[str] = field(default_factory=list)


def first_setup(site: Site) -> FirstSetup:
    """The setup, device after device in order of address. ValueError for a site without a bus."""
    bus = site.bus
    if bus is None:
        raise ValueError("the site has no bus")
    made = FirstSetup({})
    channels: list[dict[str, Any]] = []
    inputs: list[dict[str, Any]] = []
    outputs: list[dict[str, Any]] = [
        {"tag": FAULT_RELAY, "name": "Any fault", "kind": "relay", "normally_energised": True},
        {"tag": ALARM_RELAY, "name": "Any first-level alarm", "kind": "relay"},
    ]
    cells = [_cell("panel.fault", FAULT_RELAY)]
    for device in sorted(bus.devices, key=lambda one: one.address):
        own = [_channel(sensor, device, made) for sensor in _sensors(site, device)]
        channels += own
        for output in _outputs(site, device):
            outputs.append(output)
            cells += _driven(output, own, made)
        contacts = list(device.ports).count(PortUse.CONTACT_INPUT)
        inputs += ({"tag": f"{device.tag}-DI{n}", "kind": "other"} for n in range(1, contacts + 1))
        if PortUse.CURRENT_INPUT in device.ports:
            what = (
                f"{device.tag}: nothing is known of what its 4-20 mA input measures: add a channel"
            )
            made.remarks.append(what)
    if any("A1" in channel["levels"] for channel in channels):
        cells.insert(1, _cell("any.A1", ALARM_RELAY))
    made.data |= {
        "gaswitness_site": 1,
        "panel": {"tag": site.panel.tag, "name": site.panel.name},
        "channels": channels,
        **({"inputs": inputs} if inputs else {}),
        "outputs": outputs,
        "bus": _bus(bus, {output["tag"] for output in outputs}),
        "matrix": cells,
        "points": list(_points(channels, inputs, outputs)),
    }
    if site.panel_life is not None:
        made.data["panel_life"] = site.panel_life.model_dump(mode="json", exclude_unset=True)
    return made


def _sensors(site: Site, device: BusDevice) -> list[tuple[str, Sensor]]:
    """What the detector was configured to measure: what it holds, else what its channels say."""
    if device.holds:
        return [(one.tag or device.tag, one) for one in device.holds]
    found = []
    for tag in device.carries:
        one = site.channel_of[tag]
        sensor = Sensor(gas=one.gas, unit=one.unit, range=one.range, detector=one.detector)
        found.append((tag, sensor))
    return found


def _channel(found: tuple[str, Sensor], device: BusDevice, made: FirstSetup) -> dict[str, Any]:
    tag, sensor = found
    levels, source = first_levels(sensor)
    made.remarks.append(f"{tag} (address {device.address}): {sensor.gas}, levels: {source}")
    return {
        "tag": tag,
        "gas": sensor.gas,
        "unit": str(sensor.unit),
        "range": list(sensor.range),
        "detector": str(sensor.detector),
        "levels": {name: dict(one) for name, one in levels.items()},
    }


def _outputs(site: Site, device: BusDevice) -> Iterator[dict[str, Any]]:
    """Of the device's ports; where none are stated, the outputs that the site has at it."""
    if not device.ports:
        for output in site.outputs:
            if output.at in device.carries:
                yield _output(output)
        return
    count = dict.fromkeys(OutputKind, 0)
    for port in device.ports:
        if isinstance(port, OutputKind):
            count[port] += 1
            tag = f"{device.tag}-{_LETTERS[port]}{count[port]}"
            at = device.carries[0] if device.carries else None
            yield _output(Output(tag=tag, kind=port, at=at))


def _output(output: Output) -> dict[str, Any]:
    found: dict[str, Any] = {"tag": output.tag, "kind": str(output.kind)}
    if output.at is not None:
        found["at"] = output.at
    if output.kind is OutputKind.SOUNDER:
        found["mutable"] = True
    if output.normally_energised:
        found["normally_energised"] = True
    return found


def _driven(
    output: dict[str, Any], channels: list[dict[str, Any]], made: FirstSetup
) -> list[dict[str, Any]]:
    first = output["kind"] in [str(kind) for kind in FIRST_LEVEL]
    causes = [
        f"{channel['tag']}.{level}"
        for channel in channels
        if (level := _level(channel["levels"], first=first))
    ]
    if not causes:
        made.remarks.append(f"{output['tag']}: nothing drives it yet")
        return []
    return [_cell(" OR ".join(causes), output["tag"])]


def _level(levels: dict[str, Any], *, first: bool) -> str:
    """The level that acts; the first where there is no second."""
    if not first and "A2" in levels:
        return "A2"
    return "A1" if "A1" in levels else next(iter(levels), "")


def _cell(cause: str, effect: str) -> dict[str, Any]:
    return {"cause": cause, "effect": effect, "response_s": RESPONSE_S}


def _bus(bus: Bus, outputs: set[str]) -> dict[str, Any]:
    data = bus.model_dump(mode="json", by_alias=True, exclude_unset=True)
    kept = [one for one in data.pop("outputs", []) if one["output"] in outputs]
    return {**data, "outputs": kept} if kept else data


def _points(
    channels: list[dict[str, Any]], inputs: list[dict[str, Any]], outputs: list[dict[str, Any]]
) -> Iterator[dict[str, Any]]:
    """Readings two registers each, a register of flags a channel, the panel's, then contacts."""
    registers = "input register"
    for at, channel in enumerate(channels):
        shows = f"{channel['tag']}.reading"
        yield _point(shows, registers, 2 * at, "float32", shows) | {"unit": channel["unit"]}
    for at, channel in enumerate(channels, 2 * len(channels)):
        tag = channel["tag"]
        flags = [*channel["levels"], "fault", "comms_fault", "missing", "wrong_type"]
        yield _bits(f"{tag} flags", at, [f"{tag}.{flag}" for flag in flags])
    after = 3 * len(channels)
    panel = ("fault", "warm_up", "bus_fault", "setup_differs", "on_battery", "restarted")
    yield _bits("Panel flags", after, [f"panel.{flag}" for flag in panel])
    yield _point("Heartbeat", registers, after + 1, "uint16", "heartbeat")
    tags = [f"{one['tag']}.energised" for one in outputs]
    tags += [f"{one['tag']}.active" for one in inputs]
    for at, shows in enumerate(tags):
        yield _point(shows, "discrete input", at, "bit", shows)


def _bits(name: str, address: int, facts: list[str]) -> dict[str, Any]:
    point = _point(name, "input register", address, "bit field", "bits")
    return point | {"bits": dict(enumerate(facts))}


def _point(name: str, table: str, address: int, kind: str, shows: str) -> dict[str, Any]:
    return {"name": name, "table": table, "address": address, "type": kind, "shows": shows}
