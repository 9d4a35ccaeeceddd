"""Random machines with what panels do beside their cells: outputs timed and forced, channels in
test and calibration, the first alarm shown. As plain data, like those of `random_machine`.
"""

import random

from random_machine import machine


def with_functions(number):
    """The machine of a number, with such functions of its panel and steps for them mixed in."""
    plain = machine(number)
    r = random.Random(f"functions {number}")
    site = {**plain.site, "outputs": [_timed(r, one) for one in plain.site["outputs"]]}
    clear = r.random() < 0.5
    points = [_stated(r, one) for one in plain.site["points"]]
    points += _points(r, site, clear=clear)
    return plain.but(site={**site, "points": points}, steps=_steps(r, site, plain.steps))


def _timed(r, output):
    kind = r.choice(("plain", "pulse_s", "pulse_s", "minimum_on_s"))
    if kind == "plain":
        return output
    return {**output, kind: r.choice((2.0, 5.0, 12.0, 30.0))}


def _stated(r, point):
    """A channel's state may have codes for test and calibration, or for one of them."""
    if not point["shows"].endswith(".state"):
        return point
    more = {code: name for code, name in ((9, "test"), (10, "calibration")) if r.random() < 0.7}
    return {**point, "codes": {**point["codes"], **more}}


def _points(r, site, *, clear):
    tags = [channel["tag"] for channel in site["channels"]]
    facts = [f"{tag}.{what}" for tag in tags for what in ("test", "calibration", "first_up")]
    facts += [f"{one['tag']}.forced" for one in site["outputs"]] + ["panel.test"]
    found = []
    address = 30_000
    for fact in facts:
        if clear or r.random() < 0.6:
            address += r.choice((1, 1, 4))
            kind = {"table": "discrete input", "address": address, "type": "bit"}
            found.append({"name": f"more {fact}", "shows": fact, **kind})
    if r.random() < 0.4:
        place = {"table": "input register", "address": 30_000, "shows": "panel.first_up"}
        codes = {0: "none", **dict(enumerate(tags, 1))}
        kinds = ({"type": "uint16"}, {"type": "enumeration", "codes": codes})
        found.append({"name": "first up", **place, **r.choice(kinds)})
    return found


def _steps(r, site, steps):
    """The steps, with others between them; what is begun is mostly ended, not always."""
    found, begun = [], []
    for step in steps:
        found.append(step)
        if r.random() < 0.3:
            do, undo = _step(r, site)
            found.append(do)
            begun += [undo] if undo else []
        if begun and r.random() < 0.25:
            found.append(begun.pop(r.randrange(len(begun))))
    return found


def _step(r, site):
    tag = r.choice(site["channels"])["tag"]
    output = r.choice(site["outputs"])["tag"]
    kind = r.choice(("test", "calibration", "output", "output"))
    if kind == "test":
        return {"test_mode": tag}, {"end_test_mode": tag}
    if kind == "calibration":
        return {"calibrate": {"channel": tag, "for_s": r.choice((4.0, 10.0, 40.0))}}, None
    force, end = ({"output_test": {"output": output, "on": on}} for on in (r.random() < 0.6, "end"))
    return force, end
