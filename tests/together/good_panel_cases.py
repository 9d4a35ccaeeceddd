"""Small good panels that were once failed, each with what was done to it: `name: machine`.

One channel AT-1 (0 to 300 ppm, no lag, no noise), scanned every second, unless a case says more.
"""

from random_machine import Machine

A1 = {"setpoint": 20, "hysteresis": 6}
OVER_RANGE = {"gas": {"channel": "AT-1", "to": "over range"}}
GAS = {"gas": {"channel": "AT-1", "to": "past A1"}}
CLEAN = {"gas": {"channel": "AT-1", "to": "clean"}}
READING = {"type": "float32", "shows": "AT-1.reading", "table": "input register"}


def hold(for_s):
    return {"hold_s": for_s}


def channel(tag="AT-1", **facts):
    plain = {"tag": tag, "gas": "CO", "unit": "ppm", "range": [0, 300], "t90_s": 0}
    return {**plain, "levels": {"A1": A1}, **facts}


def _points(shows):
    at = {"discrete input": 0, "input register": 0}
    for number, one in enumerate(shows):
        facts = one if isinstance(one, dict) else {"type": "bit", "shows": one}
        table = facts.get("table", "discrete input")
        yield {"name": f"point {number}", "table": table, "address": at[table], **facts}
        at[table] += 4


def machine(shows, steps, *, channels=None, cells=(), mutable=False, timing=(), **parts):
    cells = [{"effect": "K1", "response_s": 3, **one} for one in cells]
    seed = parts.pop("seed", 1)
    site = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "pace": {"poll_period_s": 0.5},
        "timing": {"scan_s": 1.0, "refresh_s": 0.0, "flag_response_s": 2.5, **dict(timing)},
        "channels": channels or [channel()],
        "outputs": [{"tag": "K1", "kind": "sounder", "mutable": mutable}],
        "matrix": cells,
        "map": {"gaps": "zeros"},
        "points": list(_points(shows)),
        **parts,
    }
    return Machine(site, list(steps), seed, (0.001, 0.02), 0.0, 20.0)


STATE = {
    "type": "enumeration",
    "shows": "AT-1.state",
    "table": "input register",
    "codes": {0: "normal", 1: "A1", 3: "A3", 5: "inhibit"},
}
LATE_FAULT = channel(fault_delay_s=3)
TRIPPING = channel(fault_delay_s=1, levels_on_fault="trip", levels={"A1": {**A1, "on_delay_s": 4}})
LEVELS_OFF = {"behaviour": {"inhibit": "levels"}}
IN_BAND = {"gas": {"channel": "AT-1", "to": 17}}
TWO_LEVELS = channel(
    levels={"A1": A1, "A3": {"setpoint": 100, "hysteresis": 6, "latching": True}}, t90_s=5
)
SLOW = {"gas": {"channel": "AT-1", "to": "past A3", "over_s": 40}}
NARROW = {"type": "int16", "scale": 0.01, "shows": "AT-1.reading", "table": "input register"}
FAULT_LATER = [hold(8), {"fault": "AT-1"}, hold(8)]
ACCEPTED = [GAS, hold(8), CLEAN, hold(8), {"press": "accept"}, hold(8)]
OXYGEN = {
    "tag": "AT-1",
    "gas": "O2",
    "unit": "%vol",
    "range": [0, 25],
    "t90_s": 0,
    "levels": {"A1": {"setpoint": 19.5, "direction": "falling", "hysteresis": 0.2}},
}
OFF, ON = {"power": False}, {"power": True}

CASES = {
    "mending one of two faults leaves the other": machine(
        ["AT-1.fault"],
        [{"fault": "AT-1"}, {"drop_out": "AT-1"}, hold(8), {"return": "AT-1"}, hold(20)],
    ),
    "a state says nothing of what its enumeration does not name": machine(
        [STATE], [{"fault": "AT-1"}, hold(8)]
    ),
    "over-range that no point shows drives an output": machine(
        ["K1.active", READING],
        [OVER_RANGE, hold(10), CLEAN, hold(10)],
        cells=[{"cause": "AT-1.over_range"}],
    ),
    "a fault that no point shows has its delay": machine(
        ["any.fault", "K1.active"],
        [{"fault": "AT-1"}, hold(20)],
        channels=[LATE_FAULT],
        cells=[{"cause": "AT-1.fault"}],
    ),
    "a fault gone before a scan is not the one that came later": machine(
        ["panel.fault", "AT-1.fault"],
        [hold(5), {"panel_fault": True}, hold(0.1), {"panel_fault": False}, *FAULT_LATER],
    ),
    "the end of a warm-up that no point shows": machine(
        ["K1.active"],
        [hold(15)],
        cells=[{"cause": "panel.warm_up"}],
        timing={"warm_up_s": 8},
    ),
    "gas that turned back at once": machine(
        [NARROW],
        [GAS, hold(8), CLEAN, hold(60), SLOW, CLEAN, hold(60)],
        channels=[TWO_LEVELS],
    ),
    "a mute within an off-delay": machine(
        ["AT-1.A1", "K1.active", READING],
        [hold(4), GAS, hold(8), CLEAN, hold(1.5), {"press": "mute"}, hold(15)],
        cells=[{"cause": "AT-1.A1", "off_delay_s": 8}],
        mutable=True,
    ),
    "a detector that left the bus does not see over-range": machine(
        ["AT-1.over_range", "AT-1.fault", READING],
        [{"drop_out": "AT-1"}, hold(8), OVER_RANGE, hold(20), {"return": "AT-1"}, hold(10)],
    ),
    "a detector that left the bus and came back before its fault showed": machine(
        ["AT-1.fault", READING],
        [hold(5), {"drop_out": "AT-1"}, OVER_RANGE, hold(6), {"return": "AT-1"}, CLEAN, hold(20)],
        channels=[channel(fault_delay_s=20)],
    ),
    "a level that its fault raised has no delay": machine(
        ["AT-1.A1", READING],
        [{"drop_out": "AT-1"}, hold(20), OVER_RANGE, {"return": "AT-1"}, hold(20)],
        channels=[TRIPPING],
        timing={"scan_s": 0.5, "flag_response_s": 3.1},
    ),
    "a level after an inhibit forgets that it was on": machine(
        ["AT-1.A1", "AT-1.inhibit", READING],
        [GAS, hold(10), {"inhibit": "AT-1"}, hold(10), {"uninhibit": "AT-1"}, IN_BAND, hold(10)],
        **LEVELS_OFF,
    ),
    "a level hidden by its state came and went": machine(
        [STATE, READING],
        [OVER_RANGE, hold(20), CLEAN, hold(20), {"press": "reset"}, SLOW, hold(40)],
        channels=[TWO_LEVELS],
    ),
    "a register at its end shows less than there is": machine(
        ["K1.active", NARROW],
        [OVER_RANGE, hold(10)],
        cells=[{"cause": "AT-1.over_range"}],
    ),
    "the panel's own fault has to be accepted": machine(
        ["panel.unaccepted", "panel.fault", "AT-1.A1", "AT-1.fault"],
        [*ACCEPTED, {"panel_fault": True}, hold(20)],
    ),
    "a fault's delay begins anew when power returns": machine(
        ["AT-1.fault", "panel.fault"],
        [{"fault": "AT-1"}, hold(15), OFF, hold(6), ON, hold(15)],
        channels=[channel(fault_delay_s=6)],
    ),
    "power that was switched on while it was on": machine(
        ["panel.warm_up"],
        [hold(4), ON, hold(20)],
        timing={"warm_up_s": 8},
    ),
    "another cause ends the mute": machine(
        ["AT-1.A1", "K1.active", "AT-1.over_range"],
        [OVER_RANGE, hold(20), {"panel_fault": True}, {"press": "mute"}, hold(8), GAS, hold(20)],
        channels=[OXYGEN],
        cells=[
            {"cause": "AT-1.A1", "on_delay_s": 4, "early_s": 0},
            {"cause": "AT-1.A1 AND panel.fault", "latching": True},
            {"cause": "AT-1.over_range", "latching": True},
        ],
        mutable=True,
    ),
    "a reset while the delay of a new alarm runs": machine(
        ["AT-1.A1", "K1.active", READING],
        [GAS, hold(10), CLEAN, hold(10), GAS, hold(2), {"press": "reset"}, hold(15)],
        channels=[channel(levels={"A1": {**A1, "latching": True, "on_delay_s": 6}})],
        cells=[{"cause": "AT-1.A1"}],
    ),
}
