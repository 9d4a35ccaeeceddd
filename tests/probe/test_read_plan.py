"""Read plans: small maps by hand, and against a search of all plans."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_probe.read_plan import plan_reads, why_unread
from gaswitness_sitefile.link import Timing
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

WIDTH_TYPES = {1: "int16", 2: "float32", 4: "float64"}


def site(points, gaps="exception", registers=125, bits=2000):
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "pace": {"largest_read_registers": registers, "largest_read_bits": bits},
            "map": {"gaps": gaps},
            "points": [{"name": f"P{n}", "shows": "spare"} | row for n, row in enumerate(points)],
        }
    )


def register(address, width=1, table="input register", **more):
    return {"table": table, "address": address, "type": WIDTH_TYPES[width]} | more


def blocks(found):
    return [(b.table, b.address, b.count, [p.name for p in b.points]) for b in plan_reads(found)]


def test_neighbours_share_a_block():
    assert blocks(site([register(10, 2), register(12)])) == [(Table.INPUT, 10, 3, ["P0", "P1"])]


def test_a_hole_that_answers_with_an_exception_parts_blocks():
    found = blocks(site([register(0), register(2)]))
    assert [(address, count) for _, address, count, _ in found] == [(0, 1), (2, 1)]


def test_a_hole_that_reads_as_zero_is_read_over():
    assert blocks(site([register(0), register(2)], gaps="zeros")) == [
        (Table.INPUT, 0, 3, ["P0", "P1"])
    ]


def test_gaps_may_differ_by_table():
    gaps = {"input register": "zeros"}
    rows = [register(0), register(2), *(register(a, table="holding register") for a in (0, 2))]
    assert [(b.table, b.count) for b in plan_reads(site(rows, gaps))] == [
        (Table.HOLDING, 1),
        (Table.HOLDING, 1),
        (Table.INPUT, 3),
    ]


def test_no_read_reaches_over_an_address_that_is_only_written():
    rows = [register(a, table="holding register") for a in (0, 1, 2)]
    rows[1]["access"] = "w"
    found = site(rows, gaps="zeros")
    assert [names for *_, names in blocks(found)] == [["P0"], ["P2"]]
    assert "only be written" in why_unread(found, found.points[1])


def test_point_at_the_limit_is_not_split():
    found = blocks(site([register(0, 2), register(2, 2), register(4, 2)], registers=5))
    assert [(address, count) for _, address, count, _ in found] == [(0, 4), (4, 2)]


def test_point_wider_than_a_read_is_left_out_with_a_reason():
    found = site([register(0, 4), register(4)], registers=3)
    assert [names for *_, names in blocks(found)] == [["P1"]]
    assert why_unread(found, found.points[0]) == (
        "it takes 4 addresses, and one read may ask for 3 at most"
    )


def test_bits_of_a_word_share_its_register():
    rows = [
        {"table": "holding register", "address": 7, "type": "bit in word", "bit": bit}
        for bit in (0, 15)
    ]
    assert blocks(site(rows)) == [(Table.HOLDING, 7, 1, ["P0", "P1"])]


def test_limit_of_bits_is_its_own():
    rows = [{"table": "coil", "address": a, "type": "bit"} for a in range(10)]
    assert [b.count for b in plan_reads(site(rows, registers=1, bits=8))] == [8, 2]


def test_125_registers_are_one_read():
    assert [b.count for b in plan_reads(site([register(a) for a in range(126)]))] == [125, 1]


@st.composite
def maps(draw):
    points = draw(
        st.lists(
            st.tuples(st.integers(0, 14), st.sampled_from([1, 1, 2, 4])), min_size=1, max_size=7
        )
    )
    barred = draw(st.sets(st.integers(0, 17), max_size=2))
    gaps = draw(st.sampled_from(["exception", "zeros"]))
    return points, barred, gaps, draw(st.integers(4, 8))


def fewest(points, barred, gaps, limit):
    """The least number of windows, by trying every set of them."""
    mapped = {a for address, width in points for a in range(address, address + width)}
    allowed = set(mapped)
    if gaps == "zeros":
        allowed = set(range(min(mapped), max(mapped) + 1)) - (barred - mapped)
    windows = [
        (start, start + size)
        for start in range(20)
        for size in range(1, limit + 1)
        if set(range(start, start + size)) <= allowed
    ]
    covers = {
        frozenset(n for n, (a, w) in enumerate(points) if first <= a and a + w <= end)
        for first, end in windows
    }
    covers = [c for c in covers if c and not any(c < other for other in covers)]
    for count in range(1, len(points) + 1):
        for chosen in combinations(covers, count):
            if len(frozenset().union(*chosen)) == len(points):
                return count
    raise AssertionError("no plan at all")


@settings(deadline=None)
@given(maps())
def test_plan_is_the_fewest_requests_that_keep_the_rules(drawn):
    points, barred, gaps, limit = drawn
    rows = [register(a, w, table="holding register") for a, w in points]
    rows += [register(a, table="holding register", access="w") for a in sorted(barred)]
    plan = plan_reads(site(rows, gaps, registers=limit))
    assert sorted(p.name for b in plan for p in b.points) == sorted(
        f"P{n}" for n in range(len(points))
    )
    mapped = {a for address, width in points for a in range(address, address + width)}
    for block in plan:
        assert block.count <= limit
        assert all(block.address <= p.address and p.end <= block.end for p in block.points)
        reached = set(range(block.address, block.end))
        assert reached <= mapped if gaps == "exception" else not reached & (barred - mapped)
    assert len(plan) == fewest(points, barred, gaps, limit)


def test_plan_reads_nothing_where_all_is_written():
    assert plan_reads(site([register(0, table="holding register", access="w")])) == ()


@pytest.mark.parametrize("table", list(Table))
def test_every_table_is_planned(table):
    kind = "bit" if table.of_bits else "int16"
    rows = [{"table": table.value, "address": 65535, "type": kind}]
    assert [(b.table, b.address, b.count) for b in plan_reads(site(rows))] == [(table, 65535, 1)]


SLOW_LINE = parse_link("rtu:///dev/ttyS0?baud=9600&parity=even&stop=1")


def rated(rows, what, link=None, poll_s=1.0, fast_s=0.25, **pace):
    """Blocks as (table, first, count, period) of a site whose `what` is fast."""
    found = Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [
                {"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100],
                 "levels": {"A1": {"setpoint": 20}}},
            ],
            "outputs": [{"tag": "K1", "kind": "relay"}],
            "timing": {"answer_s": 0.0},
            "pace": {"poll_period_s": poll_s, "fast": {"period_s": fast_s, "what": what}} | pace,
            "map": {"gaps": "zeros"},
            "points": [{"name": f"P{n}"} | row for n, row in enumerate(rows)],
        }
    )  # fmt: skip
    return [(b.table.value, b.address, b.count, b.period_s) for b in plan_reads(found, link)]


def test_a_hole_is_read_over_only_where_that_is_quicker():
    """A request of its own costs 13 characters and two silences of 3.5: 20; a register costs 2."""
    near = site([register(0), register(10)], gaps="zeros")
    far = site([register(0), register(60)], gaps="zeros")
    near, far = (s.model_copy(update={"timing": Timing(answer_s=0)}) for s in (near, far))
    assert [b.count for b in plan_reads(near, SLOW_LINE)] == [11]
    assert [b.count for b in plan_reads(far, SLOW_LINE)] == [1, 1]
    assert [b.count for b in plan_reads(far)] == [61]


def test_what_the_panel_takes_to_answer_weighs_against_a_second_request():
    far = site([register(0), register(60)], gaps="zeros")
    slow_panel = far.model_copy(update={"timing": Timing(answer_s=0.5)})
    assert [b.count for b in plan_reads(slow_panel, SLOW_LINE)] == [61]


def test_all_blocks_have_the_poll_period_where_nothing_is_fast():
    plan = plan_reads(site([register(0), register(9)]))
    assert [b.period_s for b in plan] == [0.5, 0.5]


def test_fast_tables_have_blocks_of_their_own_period():
    rows = [
        {"table": "input register", "address": 0, "type": "float32", "shows": "AT-1.reading"},
        {"table": "coil", "address": 0, "type": "bit", "shows": "K1.active"},
    ]
    assert rated(rows, ["outputs"]) == [("coil", 0, 1, 0.25), ("input register", 0, 2, 1.0)]


def test_what_lies_beside_a_fast_point_comes_along():
    rows = [
        register(0, shows="AT-1.A1.setpoint"),
        {"table": "input register", "address": 1, "type": "bit in word", "bit": 0,
         "shows": "AT-1.A1"},
    ]  # fmt: skip
    assert rated(rows, ["levels"], SLOW_LINE) == [("input register", 0, 2, 0.25)]


def test_a_slow_read_lies_over_a_fast_one_where_that_is_cheapest():
    rows = [register(a, shows="spare") for a in (*range(50), *range(51, 100))]
    rows.append(
        {"table": "input register", "address": 50, "type": "bit in word", "bit": 3,
         "shows": "AT-1.A1"}
    )  # fmt: skip
    assert rated(rows, ["levels"], SLOW_LINE, fast_s=0.1) == [
        ("input register", 0, 100, 1.0),
        ("input register", 50, 1, 0.1),
    ]


def test_bits_of_a_fast_word_are_fast_all():
    word = {"table": "holding register", "address": 7, "type": "bit in word"}
    rows = [word | {"bit": 0, "shows": "AT-1.A1"}, word | {"bit": 1, "shows": "panel.fault"}]
    assert rated(rows, ["levels"]) == [("holding register", 7, 1, 0.25)]


def test_every_point_is_in_one_block_that_is_fast_enough():
    rows = [register(3 * n, 2, shows="AT-1.reading" if n % 3 else "spare") for n in range(40)]
    found = Site.model_validate(
        site(rows, gaps="zeros").model_dump()
        | {"pace": {"poll_period_s": 2.0, "fast": {"period_s": 0.1, "what": ["readings"]}}}
    )
    plan = plan_reads(found, SLOW_LINE)
    names = [p.name for b in plan for p in b.points]
    assert sorted(names) == sorted(p.name for p in found.points)
    quick = {p.name for b in plan if b.period_s == 0.1 for p in b.points}
    assert {p.name for p in found.points if p.shows == "AT-1.reading"} <= quick
