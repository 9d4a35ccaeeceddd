"""Small panels and scripts at random, as plain data: a site, what is done to it, how it is asked.

The site's promises (response times, delays) are such that the virtual panel keeps them. Its
shortest dwell is not chosen here: it is measured from what the panel really did.
"""

import random
from dataclasses import dataclass, replace

LEVELS = ("A1", "A2", "A3")
LINK_FAULTS = (
    "silent, 4 %",
    "late 0.2..1.2 s, 8 %",
    "late 0.5..4 s, 4 %",
    "truncated 2 bytes, 4 %",
)
STATES = ("normal", "A1", "A2", "A3", "fault", "inhibit", "warm_up", "over_range", "under_range")


@dataclass(frozen=True)
class Machine:
    """`site` and `steps` as YAML would have them. `latency_s`: of each way, from and to. `slack_s`:
    how much wider than the truth the instants are that the judge is told of each action.
    `link_fault`: what the link does wrong, as site files write it.
    """

    site: dict
    steps: list
    seed: int
    latency_s: tuple
    slack_s: float
    longest_dwell_s: float
    link_fault: str = ""

    def but(self, **changed):
        return replace(self, **changed)


def machine(number):
    """The machine of a number; the same each time.

    Some are wild: things happen at once, and little is shown. Some are calm: the panel comes to
    rest between two steps. Some are clear as well: all is shown, and seen well.
    """
    r = random.Random(f"machine {number}")
    mood = r.choice(("wild", "wild", "calm", "clear", "clear"))
    calm = mood != "wild"
    site = _site(r, calm=calm, clear=mood == "clear")
    low_s = r.choice((0.001, 0.01) if mood == "clear" else (0.001, 0.01, 0.02, 0.1, 0.3))
    highest_s = 0.02 if mood == "clear" else 0.4
    high_s = r.choice([s for s in (0.001, 0.02, 0.1, 0.4) if low_s <= s <= highest_s])
    return Machine(
        site=site,
        steps=_steps(r, site, calm=calm),
        seed=r.randrange(1000),
        latency_s=(low_s, high_s),
        slack_s=r.choice((0.0, 0.0, 0.0, 0.5, 2.0)),
        longest_dwell_s=r.choice((3.0, 6.0, 20.0) if calm else (1.0, 3.0, 20.0)),
        link_fault="" if mood == "clear" else r.choice(("", "", "", *LINK_FAULTS)),
    )


def _maybe(r, share):
    return r.random() < share


def _site(r, *, calm, clear):
    scan_s = r.choice((0.2, 0.5, 1.0))
    refresh_s = r.choice((0.0, 0.1, 0.3))
    least_s = 2 * scan_s + refresh_s
    periods_s = (0.2, 0.5) if clear else (0.2, 0.5, 1.0, 2.0, 3.0)
    channels = [_channel(r, f"AT-{n}", calm=calm) for n in range(1, r.randint(1, 4) + 1)]
    inputs = [f"DI-{n}" for n in range(1, r.randint(0, 2) + 1)]
    outputs = [_output(r, n) for n in range(1, r.randint(1, 4) + 1)]
    return {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "pace": {"poll_period_s": r.choice(periods_s), "timeout_s": 1.5},
        "timing": {
            "scan_s": scan_s,
            "refresh_s": refresh_s,
            "warm_up_s": r.choice((0.0, 0.0, 3.0, 8.0)),
            "flag_response_s": round(least_s + r.choice((0.01, 0.5, 2.0)), 3),
            "key_response_s": round(least_s + r.choice((0.01, 0.5, 2.0)), 3),
        },
        "behaviour": {"inhibit": r.choice(("effects", "levels"))},
        "channels": channels,
        "inputs": [{"tag": tag} for tag in inputs],
        "outputs": outputs,
        "matrix": _cells(r, channels, inputs, outputs, least_s + (1.0 if clear else 0.0)),
        "points": _points(r, channels, inputs, outputs, least_share=1.0 if clear else 0.0),
        "map": {"gaps": "zeros"},
    }


def _channel(r, tag, *, calm):
    kind = r.choice(("CH4", "CO", "O2"))
    unit, high, setpoints, falling = {
        "CH4": ("%LEL", 100, (10, 20, 40), False),
        "CO": ("ppm", 300, (20, 60, 100), False),
        "O2": ("%vol", 25, (19.5, 18.0, 23.5), True),
    }[kind]
    span = high / 100
    hystereses = [one * span * (0.25 if falling else 1.0) for one in (0.0, 0.5, 1.5, 3.0)]
    levels = {}
    for name, setpoint in list(zip(LEVELS, setpoints, strict=True))[: r.randint(1, 3)]:
        down = falling and name != "A3"
        levels[name] = {
            "setpoint": setpoint,
            "direction": "falling" if down else "rising",
            "hysteresis": r.choice(hystereses[2:] if calm else hystereses),
            "on_delay_s": r.choice((0.0, 0.0, 1.0, 4.0)),
            "latching": _maybe(r, 0.4),
            "setpoint_tolerance": r.choice((None, 0.2 * setpoint if not falling else 0.5)),
        }
    return {
        "tag": tag,
        "gas": kind,
        "unit": unit,
        "range": [0, high],
        "t90_s": r.choice((0.0, 1.0, 5.0, 15.0)),
        "noise": r.choice((0.0, 0.0, 0.1, 0.5)) * span * (0.2 if falling else 1.0),
        "on_fault": r.choice(("hold", "zero", "sentinel", "nan")),
        "levels_on_fault": r.choice(("hold", "clear", "trip")),
        "over_range_latches": _maybe(r, 0.2),
        "under_range_is_fault": _maybe(r, 0.2),
        "signal": r.choice(("bus",) * 5 + ("4-20 mA",)),
        "fault_delay_s": r.choice((0.0, 0.0, 1.0, 3.0)),
        "levels": levels,
    }


def _output(r, number):
    kind = r.choice(("relay", "beacon", "sounder", "sounder", "valve", "fan"))
    return {
        "tag": f"K{number}",
        "kind": kind,
        "normally_energised": _maybe(r, 0.4),
        "mutable": kind == "sounder" and _maybe(r, 0.8),
    }


def _cells(r, channels, inputs, outputs, least_s):
    cells = {}
    for _ in range(r.randint(1, 6)):
        cause, effect = _cause(r, channels, inputs), r.choice(outputs)["tag"]
        on_delay_s = r.choice((0.0, 0.0, 0.0, 2.0, 5.0))
        cells[cause, effect] = {
            "cause": cause,
            "effect": effect,
            "on_delay_s": on_delay_s,
            "off_delay_s": r.choice((0.0, 0.0, 0.0, 2.0, 6.0)),
            "latching": _maybe(r, 0.35),
            "response_s": round(least_s + r.choice((0.01, 0.5, 2.0)), 3),
            "early_s": r.choice((None, 0.0, on_delay_s)),
        }
    return list(cells.values())


def _cause(r, channels, inputs):
    facts = [f"{c['tag']}.{name}" for c in channels for name in c["levels"]]
    more = [f"{c['tag']}.{what}" for c in channels for what in ("fault", "inhibit", "over_range")]
    more += [f"{tag}.active" for tag in inputs] + ["panel.fault", "panel.warm_up"]
    more += [f"any.{name}" for name in ("A1", "fault")]

    def one():
        return r.choice(facts) if _maybe(r, 0.6) else r.choice(more)

    shape = r.choice(("one", "one", "one", "vote", "and", "or", "not"))
    if shape == "vote":
        terms = list(dict.fromkeys(one() for _ in range(3)))
        return f"{r.randint(1, len(terms))}oo{len(terms)}({', '.join(terms)})"
    if shape == "and":
        return f"{one()} AND {one()}"
    if shape == "or":
        return f"{one()} OR {one()}"
    if shape == "not":
        return f"{one()} AND NOT {one()}"
    return one()


class _Map:
    """Points one after the other in their tables."""

    def __init__(self, r, least_share):
        self.r = r
        self.least_share = least_share
        self.points = []
        self.next = dict.fromkeys(("coil", "discrete input", "holding register"), 0)
        self.next["input register"] = 0

    def place(self, table, width, **facts):
        address = self.next[table]
        self.next[table] += width + self.r.choice((0, 0, 3))
        name = f"point {len(self.points)}"
        self.points.append({"name": name, "table": table, "address": address, **facts})

    def flag(self, shows, share):
        if not _maybe(self.r, max(share, self.least_share)):
            return
        kind = self.r.choice(("bit", "bit", "in word"))
        if kind == "bit":
            self.place(self.r.choice(("coil", "discrete input")), 1, type="bit", shows=shows)
        else:
            bit = self.r.randrange(16)
            self.place("input register", 1, type="bit in word", bit=bit, shows=shows)

    def reading(self, channel):
        shows = f"{channel['tag']}.reading"
        table = self.r.choice(("holding register", "input register"))
        on_fault = channel["on_fault"]
        if on_fault == "nan" or (on_fault != "sentinel" and _maybe(self.r, 0.5)):
            self.place(table, 2, type="float32", shows=shows)
            return
        scale = self.r.choice((0.01, 0.1))
        more = {"sentinel": -32768} if on_fault == "sentinel" else {}
        self.place(table, 1, type="int16", scale=scale, shows=shows, **more)

    def state(self, tag, levels):
        names = [one for one in STATES if one not in LEVELS or one in levels]
        codes = {n: one for n, one in enumerate(names) if one == "normal" or _maybe(self.r, 0.85)}
        self.place("input register", 1, type="enumeration", codes=codes, shows=f"{tag}.state")


def _channel_points(r, found, channel):
    tag = channel["tag"]
    for share in (0.9, 0.15)[: 1 if found.least_share else 2]:
        if _maybe(r, max(share, found.least_share)):
            found.reading(channel)
    for name in channel["levels"]:
        found.flag(f"{tag}.{name}", 0.85)
    for what, share in (("fault", 0.7), ("inhibit", 0.7), ("over_range", 0.4)):
        found.flag(f"{tag}.{what}", share)
    if _maybe(r, 0.25):
        found.state(tag, channel["levels"])


def _points(r, channels, inputs, outputs, *, least_share):
    found = _Map(r, least_share)
    for channel in channels:
        _channel_points(r, found, channel)
    for tag in inputs:
        found.flag(f"{tag}.active", 0.8)
    for output in outputs:
        found.flag(f"{output['tag']}.active", 0.75)
        found.flag(f"{output['tag']}.energised", 0.35)
        if output["mutable"]:
            found.flag(f"{output['tag']}.muted", 0.5)
    for shows in ("fault", "warm_up", "unaccepted", "inhibit"):
        found.flag(f"panel.{shows}", 0.5)
    for shows in ("A1", "fault"):
        found.flag(f"any.{shows}", 0.4)
    if not found.points:
        found.reading(channels[0])
    return found.points


def _steps(r, site, *, calm):
    holds = (6.0, 8.0, 12.0, 20.0, 40.0) if calm else (0.1, 0.4, 1.0, 3.0, 8.0, 20.0)
    steps = [{"hold_s": r.choice((0.5, 3.0, 8.0))}]
    begun = []
    for _ in range(r.randint(3, 18)):
        if begun and _maybe(r, 0.4):
            steps.append(begun.pop(r.randrange(len(begun))))
        elif _maybe(r, 0.3):
            steps.append({"press": r.choice(("mute", "reset", "reset", "accept"))})
        else:
            step, undone = _step(r, site)
            steps.append(step)
            begun += [undone] if undone else []
        if calm or _maybe(r, 0.8):
            steps.append({"hold_s": r.choice(holds)})
    steps += [one for one in begun if "power" in one]
    return [*steps, {"hold_s": r.choice((1.0, 6.0, 15.0))}]


def _step(r, site):
    """A step, and the one that undoes it."""
    channel = r.choice(site["channels"])
    tag = channel["tag"]
    others = ("fault", "drop_out", "inhibit", "look", "input", "input", "panel_fault")
    kind = r.choice(("gas",) * 8 + others + ("power",) * _maybe(r, 0.4))
    if kind == "gas":
        return {"gas": _gas(r, channel)}, {"gas": {"channel": tag, "to": "clean", **_way(r)}}
    if kind == "power":
        return {"power": False}, {"power": True}
    if kind == "panel_fault":
        return {"panel_fault": True}, {"panel_fault": False}
    if kind == "input" and site["inputs"]:
        contact = r.choice(site["inputs"])["tag"]
        on, off = ({"input": {"tag": contact, "active": active}} for active in (True, False))
        return on, off
    if kind in ("input", "look"):
        fact = f"{r.choice(site['outputs'])['tag']}.active"
        return {"look": {"fact": fact, "ask": "Does it act?"}}, None
    undo = {"fault": "fault_clear", "drop_out": "return", "inhibit": "uninhibit"}
    return {kind: tag}, {undo[kind]: tag}


def _gas(r, channel):
    name = r.choice(list(channel["levels"]))
    past, near = f"past {name}", (f"short of {name}", f"{name}*1.01", f"{name}*0.99", name)
    to = r.choice((past, past, past, past, "clean", "over range", *near))
    return {"channel": channel["tag"], "to": to, **_way(r)}


def _way(r):
    return r.choice(({}, {}, {"over_s": 2.0}, {"over_s": 30.0}, {"over_s": 60.0}, {"tau_s": 4.0}))
