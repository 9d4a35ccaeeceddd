"""Defects of a map on a small site: what a client would read of each, worked out by hand."""

import struct

import pytest

from gaswitness_probe.decode import decode
from gaswitness_probe.map_defect import Ground, Held
from gaswitness_probe.map_defects import map_defects
from gaswitness_probe.signal import ALWAYS_FALSE, ALWAYS_TRUE
from gaswitness_sitefile.site import Site

# IEEE 754 single precision of 50.0 and 20.9, from memory; checked below against the struct module.
FIFTY = (0x4248, 0x0000)
AIR = (0x41A7, 0x3333)


def word_points():
    rows = [
        ("AT-1 reading", 0, "float32", "AT-1.reading", {}),
        ("AT-2 reading", 2, "int16", "AT-2.reading", {"scale": 0.1, "low": -10, "high": 110}),
        ("AT-3 reading", 3, "uint16", "AT-3.reading", {"low": 0, "high": 100}),
        ("AT-1 state", 4, "enumeration", "AT-1.state", {"codes": {0: "normal", 1: "A1"}}),
        ("alarms", 5, "bit field", "bits", {"bits": {0: "AT-1.A1", 1: "AT-2.A1", 9: "AT-1.fault"}}),
    ]
    return [
        {"name": n, "table": "input register", "address": a, "type": t, "shows": s, **more}
        for n, a, t, s, more in rows
    ]


@pytest.fixture(scope="module")
def site():
    levels = {"A1": {"setpoint": 20}}
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [
                {"tag": tag, "gas": "CH4", "unit": "%LEL", "range": [0, 100], "levels": levels}
                for tag in ("AT-1", "AT-2", "AT-3")
            ],
            "map": {"gaps": "exception"},
            "points": [
                *word_points(),
                {
                    "name": "AT-1 A1",
                    "table": "discrete input",
                    "address": 0,
                    "type": "bit",
                    "shows": "AT-1.A1",
                },
                {
                    "name": "AT-2 A1",
                    "table": "discrete input",
                    "address": 1,
                    "type": "bit",
                    "shows": "AT-2.A1",
                },
            ],
        }
    )


HELD = {
    "AT-1 reading": FIFTY,
    "AT-2 reading": (123,),
    "AT-3 reading": (37,),
    "AT-1 state": (1,),
    "alarms": (0x0201,),
    "AT-1 A1": (1,),
    "AT-2 A1": (0,),
}


@pytest.fixture
def read(site):
    """The registers that a client reads of a point from a panel with a defect; None: refused."""

    def shown(kind, place, name, held=HELD, *, fault=False):
        at, ends = {}, {}
        for point in site.points:
            for address in range(point.address, point.end):
                at[point.table, address] = [point]
            low, high = ends.get(point.table, (65535, 0))
            ends[point.table] = (min(low, point.address), max(high, point.end))
        faults = dict.fromkeys(site.channel_of, ALWAYS_TRUE if fault else ALWAYS_FALSE)
        ground = Ground(site, at, ends, faults)
        here = Held(ground, 0.0, lambda one: (0.0, held[one]) if one in held else None)
        point = next(one for one in site.points if one.name == name)
        (defect,) = [one for one in map_defects(site) if (one.kind, one.place) == (kind, place)]
        assert name in defect.points
        return defect.shown(here, point)

    return shown


def test_the_words_above_are_those_of_ieee_754():
    assert struct.unpack(">2H", struct.pack(">f", 50.0)) == FIFTY
    assert struct.unpack(">2H", struct.pack(">f", 20.9)) == AIR


@pytest.mark.parametrize(
    ("kind", "place", "name", "words"),
    [
        ("every address one too high", "all tables", "AT-2 reading", (0x0000,)),
        ("every address one too high", "all tables", "AT-1 reading", None),
        ("every address one too low", "all tables", "AT-2 reading", (37,)),
        ("every address one too low", "all tables", "alarms", None),
        ("every address one too high", "discrete inputs", "AT-2 A1", (1,)),
        ("tables exchanged", "holding registers and input registers", "AT-3 reading", None),
        ("1 register put in before a point", "AT-3 reading", "AT-3 reading", (0,)),
        ("1 register put in before a point", "AT-3 reading", "AT-1 state", (37,)),
        ("2 registers put in before a point", "AT-3 reading", "alarms", (37,)),
        ("words in the other order", "AT-1 reading", "AT-1 reading", (0x0000, 0x4248)),
        ("bytes in the other order", "AT-1 reading", "AT-1 reading", (0x4842, 0x0000)),
        ("words and bytes in the other order", "AT-1 reading", "AT-1 reading", (0, 0x4842)),
        ("bytes in the other order", "AT-2 reading", "AT-2 reading", (0x7B00,)),
        ("scale ten times too great", "AT-2 reading", "AT-2 reading", (1230,)),
        ("scale ten times too small", "AT-2 reading", "AT-2 reading", (12,)),
        ("scale ten times too great", "all numbers", "AT-3 reading", (370,)),
        (
            "decimal digits (BCD) in place of a binary number",
            "AT-3 reading",
            "AT-3 reading",
            (0x37,),
        ),
        ("32 bits in place of 16", "AT-2 reading", "AT-2 reading", (0,)),
        ("readings exchanged", "AT-2 and AT-3", "AT-2 reading", (370,)),
        ("readings exchanged", "AT-2 and AT-3", "AT-3 reading", (12,)),
        ("status exchanged", "AT-1 and AT-2", "alarms", (0x0202,)),
        ("status exchanged", "AT-1 and AT-2", "AT-1 A1", (0,)),
        ("bits numbered from the other end", "alarms", "alarms", (0x8040,)),
        ("bytes of the bits exchanged", "alarms", "alarms", (0x0102,)),
        ("bits numbered from 1", "alarms", "alarms", (0x0402,)),
        ("bits inverted", "alarms", "alarms", (0xFDFE,)),
        ("bits inverted", "discrete inputs", "AT-2 A1", (1,)),
        ("bit inverted", "AT-1 A1", "AT-1 A1", (0,)),
        ("fault not flagged", "AT-1", "alarms", (0x0001,)),
        ("state A1 under another code", "AT-1 state", "AT-1 state", (2,)),
        ("state normal under another code", "AT-1 state", "AT-1 state", (1,)),
    ],
)
def test_what_a_client_reads(read, kind, place, name, words):
    assert read(kind, place, name) == words


def test_a_value_below_zero(read, site):
    held = HELD | {"AT-2 reading": (0x10000 - 30,), "AT-1 reading": (0xC040, 0x0000)}
    assert read("negative readings shown as 0", "AT-2 reading", "AT-2 reading", held) == (0,)
    assert read("negative readings shown as 0", "AT-1 reading", "AT-1 reading", held) == (0, 0)
    assert read("unsigned in place of signed", "AT-2 reading", "AT-2 reading", held) == (0,)
    assert read("32 bits in place of 16", "AT-2 reading", "AT-2 reading", held) == (0xFFFF,)
    first = site.points[0]
    assert decode(first, held["AT-1 reading"]) == -3.0


def test_a_fault_shown_as_zero_is_so_in_fault_alone(read):
    kind, place = "fault shown as a reading of 0", "AT-1 reading"
    assert read(kind, place, place, fault=True) == (0, 0)
    assert read(kind, place, place) == FIFTY


def test_no_defect_is_there_twice(site):
    found = [(one.kind, one.place) for one in map_defects(site)]
    assert len(found) == len(set(found))
    assert len(found) == 61


def test_what_a_map_cannot_tell_says_why(site):
    same = {(one.kind, one.place): one.same for one in map_defects(site) if one.same}
    assert same["signed in place of unsigned", "AT-3 reading"].startswith("from 0 to 100 counts")
    assert same["negative readings shown as 0", "AT-3 reading"]
    assert ("negative readings shown as 0", "AT-2 reading") not in same


def same(kind, shows, type_, point, channel):
    """Why a defect of the one point there is cannot be told; empty where it can."""
    facts = {"name": "P", "table": "holding register", "address": 90, "type": type_}
    levels = {"A1": {"setpoint": 20}}
    at_1 = {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "levels": levels}
    site = Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{**at_1, **channel}],
            "points": [{**facts, "shows": shows, **point}],
        }
    )
    return next(one.same for one in map_defects(site) if one.kind == kind)


SIGN, NO_SIGN = "signed in place of unsigned", "unsigned in place of signed"


@pytest.mark.parametrize(
    ("kind", "shows", "type_", "point", "channel", "why"),
    [
        # -50 is 0 counts, and the panel shows no reading under -50
        (NO_SIGN, "AT-1.reading", "int16", {"offset": -50.0}, {"under_range": -50.0}, "from 0 to"),
        # (-51 + 50) / 1 = -1 count
        (NO_SIGN, "AT-1.reading", "int16", {"offset": -50.0}, {"under_range": -51.0}, ""),
        # 10 % of a span of 100 beyond it: 110 %LEL in hundredths are 11000 counts, in thousandths
        # 110000, held at 65535: above 32767
        (SIGN, "AT-1.reading", "uint16", {"scale": 0.01}, {}, "from 0 to 11000 counts"),
        (SIGN, "AT-1.reading", "uint16", {"scale": 0.001}, {}, ""),
        # a setpoint stands where it is stated: 20 %LEL are 200 counts
        (SIGN, "AT-1.A1.setpoint", "uint32", {"scale": 0.1}, {}, "at 200 counts, where it always"),
        (NO_SIGN, "AT-1.A1.setpoint", "int16", {"scale": 0.1}, {}, "at 200 counts, where it"),
        (NO_SIGN, "AT-1.A1.setpoint", "int16", {"offset": 30.0}, {}, ""),
        # what is no reading goes as far as the point says
        (SIGN, "AT-1.TWA.average", "uint16", {}, {}, ""),
        # no reading under 10 %LEL, but 0 in fault: (0 - 5) / 1 = -5 counts
        (NO_SIGN, "AT-1.reading", "int16", {"offset": 5.0}, {"under_range": 10.0}, "from 5 to"),
        (
            NO_SIGN,
            "AT-1.reading",
            "int16",
            {"offset": 5.0},
            {"under_range": 10.0, "on_fault": "zero"},
            "",
        ),
        # a loop ends at 3.8 mA, 1.25 % of the span under zero (NAMUR NE 43, from memory); 5 % of
        # the span is the tolerance
        (
            "negative readings shown as 0",
            "AT-1.reading",
            "int16",
            {},
            {"signal": "4-20 mA"},
            "it shows no reading under -1.25 %LEL",
        ),
        ("negative readings shown as 0", "AT-1.reading", "int16", {}, {}, ""),
    ],
)
def test_what_a_point_never_holds_nobody_has_to_bring_about(
    kind, shows, type_, point, channel, why
):
    found = same(kind, shows, type_, point, channel)
    assert found.startswith(why)
    assert bool(found) is bool(why)
