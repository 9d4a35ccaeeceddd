"""A site with a large matrix, for benchmarks of planning: detectors in zones, each with outputs of
its own, sums and votes over zones. Built in memory."""

from gaswitness_sitefile.site import Site

ZONE = 5
GASES = (("CH4", "%LEL", 100, 10, 20), ("NH3", "ppm", 100, 25, 35), ("CO", "ppm", 300, 20, 100))


def large_matrix_site(channels=100, outputs=80):
    """A site with two causes a channel (its levels), votes, sums and contacts on `outputs`."""
    tags = [f"AT-{number:03d}" for number in range(1, channels + 1)]
    outs = [f"K{number}" for number in range(1, outputs + 1)]
    site = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-200"},
        "timing": {"heartbeat_s": 2.0, "warm_up_s": 30},
        "channels": [_channel(at, tag) for at, tag in enumerate(tags)],
        "inputs": [{"tag": "DI-1"}, {"tag": "DI-2"}],
        "outputs": [
            {"tag": tag, "kind": "sounder" if at % 7 == 6 else "relay", "mutable": at % 7 == 6}
            for at, tag in enumerate(outs)
        ],
        "matrix": list(_cells(tags, outs)),
        "map": {"gaps": "zeros"},
        "points": list(_points(tags, outs)),
    }
    return Site.model_validate(site)


def _channel(at, tag):
    gas, unit, high, a1, a2 = GASES[at % len(GASES)]
    levels = {
        "A1": {"setpoint": a1, "hysteresis": 2},
        "A2": {"setpoint": a2, "hysteresis": 2, "latching": True},
    }
    return {
        "tag": tag,
        "gas": gas,
        "unit": unit,
        "range": [0, high],
        "t90_s": 12 + at % 4,
        "noise": 0.1,
        "tolerance": 3 * high / 100,
        "levels": levels,
    }


def _cells(tags, outs):
    """Each zone has its share of the outputs and one of its neighbour's; the first three are common
    to all."""
    yield {"cause": "panel.fault", "effect": outs[0], "response_s": 4}
    yield {"cause": "any.A1", "effect": outs[1], "response_s": 4}
    yield {"cause": "DI-1.active", "effect": outs[2], "response_s": 4, "latching": True}
    zones = [tags[at : at + ZONE] for at in range(0, len(tags), ZONE)]
    own = outs[3:]
    shares = [own[at :: len(zones)] for at in range(len(zones))]
    for number, zone in enumerate(zones):
        share = shares[number] or own[:1]
        next_door = (shares[(number + 1) % len(zones)] or own[:1])[-1]
        if len(zone) > 1:
            vote = f"2oo{len(zone)}({', '.join(f'{tag}.A2' for tag in zone)})"
            yield {"cause": vote, "effect": share[0], "response_s": 4}
        for at, tag in enumerate(zone):
            for step, effect in enumerate(dict.fromkeys([*share[1:], next_door])):
                for level in ("A1",) if step % 2 == 0 else ("A2",):
                    delay = {"off_delay_s": 20} if step % 3 == 2 else {}
                    row = {"cause": f"{tag}.{level}", "effect": effect, "response_s": 4}
                    yield row | delay
            if at == 0:
                text = f"{tag}.A2 AND NOT DI-2.active"
                yield {"cause": text, "effect": share[0], "response_s": 4}


def _points(tags, outs):
    for at, tag in enumerate(tags):
        unit = GASES[at % len(GASES)][1]
        shows = f"{tag}.reading"
        yield _point(shows, "input register", 2 * at, "float32", unit)
        for bit, what in enumerate(("A1", "A2", "fault", "inhibit", "over_range")):
            yield _point(f"{tag}.{what}", "discrete input", 5 * at + bit, "bit")
    begin = 5 * len(tags)
    for at, out in enumerate(outs):
        yield _point(f"{out}.active", "discrete input", begin + at, "bit")
    for at, what in enumerate(("panel.fault", "any.A1", "panel.unaccepted", "panel.warm_up")):
        yield _point(what, "discrete input", begin + len(outs) + at, "bit")
    for at, what in enumerate(("DI-1.active", "DI-2.active")):
        yield _point(what, "discrete input", begin + len(outs) + 4 + at, "bit")
    for at, out in enumerate(outs[6::7]):
        yield _point(f"{out}.muted", "discrete input", begin + len(outs) + 6 + at, "bit")
    yield _point("heartbeat", "holding register", 0, "uint16")


def _point(shows, table, address, kind, unit=""):
    name = shows.replace(".", " ")
    place = {"table": table, "address": address, "type": kind}
    return {"name": name, "shows": shows, "unit": unit, **place}
