"""Design rules of the points list: what the map cannot hold, or does not show."""

from collections.abc import Iterator
from typing import Final

from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.point_checks import INTEGER_LIMITS
from gaswitness_sitefile.points import COMMANDS, FLOATS, Access, Point, PointType, Table
from gaswitness_sitefile.rules.rule import Findings, Kind, Rule
from gaswitness_sitefile.site import Site


def _overlaps(site: Site) -> Findings:
    taken: dict[tuple[Table, int], list[tuple[int, Point]]] = {}
    for index, point in enumerate(site.points):
        bits = _bits_taken(point)
        clashes: dict[str, int] = {}
        for address in range(point.address, point.end):
            others = taken.setdefault((point.table, address), [])
            for other_bits, other in others:
                if other_bits & bits:
                    clashes.setdefault(other.name, address)
            others.append((bits, point))
        for name, address in clashes.items():
            what = f"{point.name} and {name} both take {point.table} {address}"
            yield ("points", index, "address"), what


def _bits_taken(point: Point) -> int:
    if point.type is PointType.BIT_IN_WORD:
        return 1 << (point.bit or 0)
    if point.type is PointType.BIT_FIELD:
        return sum(1 << number for number in point.bits)
    return 0xFFFF


def _measures(site: Site) -> Iterator[tuple[int, Point, Channel]]:
    """Points of readings and setpoints, with their index and channel."""
    for index, point in enumerate(site.points):
        channel = site.channel_of.get(point.subject)
        if channel and (point.what == "reading" or point.what.endswith(".setpoint")):
            yield index, point, channel


def _ends(point: Point) -> tuple[float, float] | None:
    """Lowest and highest value, in the unit, that the point's type can hold; None for floats."""
    if point.type not in INTEGER_LIMITS:
        return None
    ends = [raw * point.scale + point.offset for raw in INTEGER_LIMITS[point.type]]
    return min(ends), max(ends)


def _overflows(site: Site) -> Findings:
    for index, point, channel in _measures(site):
        ends = _ends(point)
        if ends is None:
            continue
        slack = abs(point.scale) / 2
        for name, value in _must_hold(point, channel):
            if not ends[0] - slack <= value <= ends[1] + slack:
                what = (
                    f"{point.name}: the {name} of {channel.tag}, {value:g} {channel.unit}, is "
                    f"outside what {point.type} with scale {point.scale:g} and offset "
                    f"{point.offset:g} holds, {ends[0]:g} to {ends[1]:g}"
                )
                yield ("points", index, "type"), what
                break


def _must_hold(point: Point, channel: Channel) -> Iterator[tuple[str, float]]:
    if point.what != "reading":
        level = channel.levels[point.what.partition(".")[0]]
        yield "setpoint", level.setpoint
        return
    yield "range's low end", channel.range[0]
    yield "range's high end", channel.range[1]
    yield "over-range limit", channel.shown_limits[1]
    if channel.under_range is not None:
        yield "under-range limit", channel.under_range


def _coarse(site: Site) -> Findings:
    for index, point, channel in _measures(site):
        if point.type in FLOATS or point.what != "reading":
            continue
        step = abs(point.scale)
        loc = ("points", index, "scale")
        narrow = [n for n, level in channel.levels.items() if 0 < level.hysteresis < step]
        if narrow:
            name = narrow[0]
            yield (
                loc,
                (
                    f"{point.name}: one count is {step:g} {channel.unit}, but the hysteresis of "
                    f"{channel.tag}.{name} is {channel.levels[name].hysteresis:g}"
                ),
            )
        elif step > channel.span / 100 * (1 + 1e-9):
            yield (
                loc,
                (
                    f"{point.name}: one count is {step:g} {channel.unit}, more than a hundredth of "
                    f"the span of {channel.tag}, {channel.span:g}"
                ),
            )


def _sentinel_is_reading(site: Site) -> Findings:
    for index, point, channel in _measures(site):
        if point.sentinel is None or point.what != "reading":
            continue
        value = point.sentinel * point.scale + point.offset
        low, high = channel.shown_limits
        low = low if point.low is None else min(low, point.low)
        high = high if point.high is None else max(high, point.high)
        if low <= value <= high:
            what = (
                f"{point.name}: the sentinel {point.sentinel} is also the reading {value:g} "
                f"{channel.unit}, which {channel.tag} may show ({low:g} to {high:g})"
            )
            yield ("points", index, "sentinel"), what


def _shown(site: Site) -> set[str]:
    """Every fact and number that a client can read from the map."""
    found: set[str] = set()
    for point in site.points:
        if point.access is Access.WRITE:
            continue
        found.update(shows for _, shows in point.facts())
        if point.what == "state":
            found.update(f"{point.subject}.{state}" for state in point.codes.values())
    return found


def _no_reading(site: Site) -> Findings:
    shown = _shown(site)
    for index, channel in enumerate(site.channels):
        if f"{channel.tag}.reading" not in shown:
            yield ("channels", index, "tag"), f"no point shows the reading of {channel.tag}"


def _no_channel_flags(site: Site) -> Findings:
    shown = _shown(site)
    for index, channel in enumerate(site.channels):
        aspects = (*channel.levels, "fault")
        missing = [name for name in aspects if f"{channel.tag}.{name}" not in shown]
        if missing:
            what = f"no point shows {', '.join(f'{channel.tag}.{name}' for name in missing)}"
            yield ("channels", index, "tag"), what


def _no_device_flags(site: Site) -> Findings:
    shown = _shown(site)
    for index, found in enumerate(site.inputs):
        if f"{found.tag}.active" not in shown:
            yield ("inputs", index, "tag"), f"no point shows the input {found.tag}"
    for index, output in enumerate(site.outputs):
        if not shown & {f"{output.tag}.active", f"{output.tag}.energised"}:
            yield ("outputs", index, "tag"), f"no point shows the output {output.tag}"


def _no_unit(site: Site) -> Findings:
    for index, point, channel in _measures(site):
        if not point.unit:
            what = f"{point.name}: {point.shows} does not say its unit ({channel.unit}?)"
            yield ("points", index, "unit"), what


def _no_heartbeat(site: Site) -> Findings:
    if "heartbeat" not in _shown(site):
        yield ("points",), "no point shows a heartbeat"
    elif site.timing.heartbeat_s is None:
        index = next(
            i for i, p in enumerate(site.points) if "heartbeat" in dict(p.facts()).values()
        )
        yield (
            ("points", index),
            "a heartbeat is mapped, but timing.heartbeat_s does not say its pace",
        )


def _writable(site: Site) -> Findings:
    for index, point in enumerate(site.points):
        if point.access is not Access.READ:
            kind = "a command" if point.shows in COMMANDS else point.shows
            what = f"{point.name}: {kind} can be written over the link ({point.table})"
            yield ("points", index, "access"), what


def _wider_than_a_read(site: Site) -> Findings:
    most = site.pace.largest_read_registers
    for index, point in enumerate(site.points):
        if point.width > most and not point.table.of_bits:
            what = f"{point.name} takes {point.width} registers, but one read gets {most} at most"
            yield ("points", index, "address"), what


def _state_without_code(site: Site) -> Findings:
    for index, point in enumerate(site.points):
        channel = site.channel_of.get(point.subject)
        if channel is None or point.what != "state":
            continue
        states = ["normal", *channel.levels, "fault", "inhibit"]
        states += ["warm_up"] if site.alarms_count_after_s else []
        missing = [state for state in states if state not in point.codes.values()]
        if missing:
            what = f"{point.name}: no code for {', '.join(missing)} of {channel.tag}"
            yield ("points", index, "codes"), what


MAP_RULES: Final = (
    Rule(
        "GW101",
        _overlaps,
        "a register holds one thing; one of the two is mapped to a wrong address or width",
    ),
    Rule(
        "GW102",
        _overflows,
        "the register would stop at its end or wrap, and the client would see a wrong gas reading",
        "Modbus Application Protocol V1.1b3 clause 4.2 (registers of 16 bits)",
    ),
    Rule(
        "GW103",
        _coarse,
        "steps coarser than this hide the alarm's switching and cannot prove a setpoint",
    ),
    Rule(
        "GW104",
        _sentinel_is_reading,
        "a client cannot tell the fault from a reading",
    ),
    Rule("GW105", _no_reading, "its setpoints cannot be proven over the link"),
    Rule(
        "GW106",
        _no_channel_flags,
        "verdicts about them will be inferred from other points, or be inconclusive",
    ),
    Rule(
        "GW107",
        _no_device_flags,
        "verdicts about it need a person to look, or will be inconclusive",
    ),
    Rule("GW108", _no_unit, "%LEL, %vol and ppm read as bare numbers are easily confused"),
    Rule("GW109", _no_heartbeat, "a panel that hangs cannot be told from one where all is quiet"),
    Rule(
        "GW110",
        _writable,
        "anyone on the network may write it: Modbus has no passwords; agree who may, and when",
        "Modbus Application Protocol V1.1b3 has no access control; " + "common practice",
        Kind.CAUTION,
    ),
    Rule(
        "GW111",
        _wider_than_a_read,
        "it can only be read in pieces, which may come from two different moments",
    ),
    Rule("GW112", _state_without_code, "the register then shows another state, or nothing known"),
)
