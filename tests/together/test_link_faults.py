"""The table: every link fault, every link, and what the probe makes of it.

Under "Modbus/TCP" and "RTU" stands what a read under the fault came to, then the read after it:
"no reply | answered + late reply" is a time-out, then a good reply beside which the late one came.
Several may be right where it depends on when bytes are read. WRONG VALUE is a wrong one taken for
right: the frame is whole and fits the request, so that nothing in it tells. Where those stand is
held by a test of its own.
"""

import asyncio
import random
import sys

import pytest
from faulty_links import Bench, reaction

from gaswitness_probe.clock import Clock
from gaswitness_scenarios.options import RehearsalLink, RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_sitefile.link_fault import KINDS
from gaswitness_sitefile.link_fault_text import parse_link_fault

SILENCE = "no reply | answered"
RTU_SILENCE = "no reply | may be a late reply"
"""The reply after a time-out has the shape of the one that may still come, and is not taken."""

CUT = "reply too short | no connection"
RTU_CUT = "reply too short | may be a late reply"
NOTHING = "answered | answered"
CLOSED = "closed by the panel | no connection"
BROKEN = "connection broken | no connection"
CLOSED_AFTER = ("answered | closed by the panel", "answered | no connection")
BROKEN_AFTER = ("answered | connection broken", "answered | no connection")
"""The end shows in the next request, or at once where the line is listened to after a reply."""

TABLE = {
    # fault: (Modbus/TCP, RTU, RTU on a serial line where that differs)
    "silent, 1 times": (SILENCE, RTU_SILENCE),
    "late 0.7 s, 1 times": ("no reply | answered + late reply", "no reply + late reply | answered"),
    "late about 0.7..0.75 s, 1 times": (
        "no reply | answered + late reply",
        "no reply + late reply | answered",
    ),
    "late 50 ms, 1 times": (NOTHING, NOTHING),
    "bytewise 2 ms, 1 times": (NOTHING, NOTHING),
    "split 3 pieces 20 ms, 1 times": (NOTHING, NOTHING),
    "merged, 2 times": (
        "no reply | answered + late reply",
        "no reply | may be a late reply + unasked bytes",
    ),
    "truncated 2 bytes, 1 times": (CUT, RTU_CUT),
    "truncated 14 bytes, 1 times": (CUT, RTU_CUT),
    "longer 2 bytes, 1 times": (
        "reply too long | answered",
        "reply too long | answered",
        # Read byte by byte, what was due is whole first, and its CRC is not.
        ("reply too long | answered", "wrong CRC + unasked bytes | answered"),
    ),
    "shorter 2 bytes, 1 times": ("reply too short | answered", "reply too short | answered"),
    "flipped 1 bit, 1 times": ("WRONG VALUE | answered", "wrong CRC | answered"),
    "flipped 2 bits, 1 times": ("WRONG VALUE | answered", "wrong CRC | answered"),
    "flipped 3 bits, 1 times": ("WRONG VALUE | answered", "wrong CRC | answered"),
    "wrong-crc, 1 times": (NOTHING, "wrong CRC | answered"),
    "stray 3 bytes before, 1 times": (
        "not Modbus/TCP | no connection",
        "answered + stray bytes before the reply | answered",
    ),
    "stray 3 bytes between, 1 times": (
        # As long as it says, then three bytes more: they give it away.
        "reply too long | no connection",
        "wrong CRC | answered",
        ("wrong CRC | answered", "wrong CRC + unasked bytes | answered"),
    ),
    "stray 3 bytes after, 1 times": (
        # Nothing tells them from the end of a reply that others were put into.
        "reply too long | no connection",
        # Read together with the reply they make it another frame.
        ("reply too long | answered", "answered + unasked bytes | answered"),
    ),
    "echo, 1 times": (
        # The request itself is no reply; the real one comes with it, or after it.
        ("wrong byte count | answered + second reply", "wrong byte count | no connection"),
        "answered + local echo | answered",
    ),
    "wrong-unit, 1 times": ("wrong unit id | answered", "wrong unit id | may be a late reply"),
    "wrong-function, 1 times": ("wrong function | answered", "wrong function | answered"),
    "wrong-function 16, 1 times": ("wrong function | answered", "wrong function | answered"),
    "wrong-transaction, 1 times": ("wrong transaction id | answered", NOTHING),
    "wrong-transaction 0, 1 times": ("wrong transaction id | answered", NOTHING),
    "wrong-protocol, 1 times": ("wrong protocol id | answered", NOTHING),
    "wrong-length, 1 times": (CUT, NOTHING),
    "wrong-length 5, 1 times": (CUT, NOTHING),
    "wrong-length 300, 1 times": ("impossible length | no connection", NOTHING),
    "previous, 1 times": ("wrong transaction id | answered", "WRONG VALUE | answered"),
    "previous, 1 times / other shape": (
        "wrong transaction id | answered",
        "wrong byte count | answered",
    ),
    "previous relabelled, 1 times": ("WRONG VALUE | answered", "WRONG VALUE | answered"),
    "previous relabelled, 1 times / other shape": (
        "wrong byte count | answered",
        "wrong byte count | answered",
    ),
    "twice, 1 times": (
        "answered | answered + second reply",
        "answered + second reply | answered",
        # The second one may be read in two parts.
        (
            "answered + second reply | answered",
            "answered + unasked bytes | answered",
            "answered + unasked bytes | answered + stray bytes before the reply",
            "answered + unasked bytes | answered + unasked bytes",
            "reply too long | answered",
            "reply too long | answered + stray bytes before the reply",
        ),
    ),
    "exception 0B, 1 times": ("exception 0B | answered", "exception 0B | answered"),
    "exception 2, 1 times": ("exception 02 | answered", "exception 02 | answered"),
    "exception 01 functionless, 1 times": (
        "wrong function | answered",
        "wrong function | answered",
    ),
    "exception 99, 1 times": (
        "exception 63 + unknown exception code | answered",
        "exception 63 + unknown exception code | answered",
    ),
    "busy, 1 times": ("exception 06 | answered", "exception 06 | answered"),
    # A serial line has no connection to close: what still went out stands.
    "close, 1 times": (CLOSED, CLOSED, RTU_SILENCE),
    "close after, 1 times": (CLOSED_AFTER, CLOSED_AFTER, NOTHING),
    "close midway, 1 times": (CLOSED, CLOSED, RTU_CUT),
    "reset, 1 times": (BROKEN, BROKEN, RTU_SILENCE),
    "reset after, 1 times": (BROKEN_AFTER, BROKEN_AFTER, NOTHING),
    "reset midway, 1 times": (BROKEN, BROKEN, RTU_CUT),
    "half-open, 1 times": ("no reply | no reply", "no reply | no reply"),
    "connection-limit 0 connections": (
        ("no connection | no connection", BROKEN),
        ("no connection | no connection", BROKEN),
        NOTHING,
    ),
    "idle-limit 50 ms": ((CLOSED, BROKEN), (CLOSED, BROKEN), NOTHING),
    "read-limit 4 registers, 1 times": ("exception 03 | answered", "exception 03 | answered"),
    "read-limit 4 registers silent, 1 times": (SILENCE, RTU_SILENCE),
    "needs-gap 0.4 s, 1 times": (SILENCE, RTU_SILENCE),
    "stale, 1 times": ("WRONG VALUE | answered", "WRONG VALUE | answered"),
    "torn, 1 times": ("WRONG VALUE | answered", "WRONG VALUE | answered"),
}
ONLY_IN_MEMORY = {
    # On a socket it is chance which of the two comes first.
    "twice 0.1 s, 1 times": (
        "answered | answered + second reply",
        "answered | WRONG VALUE + unasked bytes",
    ),
}
OVER_TLS_TOO = {"close after, 1 times": BROKEN_AFTER}
"""TLS says goodbye before it closes; the request that crosses that may meet a connection reset."""
SOCKETS = ["tcp", "tls", "rtu+tcp"]
LINES = [] if sys.platform == "win32" else ["pty"]


def due(row, link):
    column = 0 if link in ("memory", "tcp", "tls") else 1
    written = row[2] if link == "pty" and len(row) == 3 else row[column]
    return (written,) if isinstance(written, str) else written


@pytest.mark.parametrize("link", ["memory", "memory-rtu"])
@pytest.mark.parametrize("fault", [*TABLE, *ONLY_IN_MEMORY])
def test_the_probe_s_reaction_in_memory(fault, link):
    assert run_virtual(reaction(link, fault)) in due((TABLE | ONLY_IN_MEMORY)[fault], link)


@pytest.fixture(scope="module")
def on_real_links():
    """All faults on all real links, a panel and a connection for each, together."""

    async def on(link):
        return await asyncio.gather(*(reaction(link, fault) for fault in TABLE))

    return {
        link: dict(zip(TABLE, asyncio.run(on(link)), strict=True)) for link in (*SOCKETS, *LINES)
    }


@pytest.mark.parametrize("link", [*SOCKETS, *LINES])
@pytest.mark.parametrize("fault", TABLE)
def test_the_probe_s_reaction_on_a_real_link(fault, link, on_real_links):
    also = OVER_TLS_TOO.get(fault, ()) if link == "tls" else ()
    assert on_real_links[link][fault] in (*due(TABLE[fault], link), *also)


def test_every_kind_of_fault_stands_in_the_table():
    assert {parse_link_fault(row.partition(" / ")[0]).name for row in TABLE} == set(KINDS)


def test_where_the_frame_cannot_tell_a_wrong_value():
    told = {**TABLE, **ONLY_IN_MEMORY}
    wrong = [
        {fault for fault, row in told.items() if "WRONG VALUE" in str(row[column])}
        for column in (0, 1)
    ]
    everywhere = {"previous relabelled, 1 times", "stale, 1 times", "torn, 1 times"}
    # Modbus/TCP has no checksum of its own.
    flips = {f"flipped {bits}, 1 times" for bits in ("1 bit", "2 bits", "3 bits")}
    assert wrong[0] == everywhere | flips
    # RTU has no transaction id.
    assert wrong[1] == everywhere | {"previous, 1 times", "twice 0.1 s, 1 times"}


@pytest.mark.parametrize(
    ("fault", "first", "second"),
    [
        ("connection-limit 2 connections oldest", "answered", "answered"),
        ("connection-limit 1 connections oldest", "connection broken", "answered"),
        ("connection-limit 1 connections refuse", "answered", "connection broken"),
    ],
)
async def test_one_client_too_many_is_refused_or_throws_out_the_oldest(fault, first, second):
    async with Bench("tcp").served() as bench:
        bench.plan.begin(parse_link_fault(fault), bench.clock.now())
        assert await bench.read(10, 6) == "answered"
        oldest, bench.client = bench.client, await bench.another_client()
        assert await bench.read(10, 6) == second
        newest, bench.client = bench.client, oldest
        assert await bench.read(10, 6) == first
        await newest.close()


EVERYWHERE = (
    "silent",
    "late 0.05..0.48 s",
    "late 0.51..1.5 s",
    "late about 0.1..5 s",
    "bytewise 2 ms",
    "split 3 pieces 20 ms",
    "merged",
    "truncated 1 byte",
    "truncated 5 bytes",
    "longer 2 bytes",
    "longer 1 byte",
    "shorter 2 bytes",
    "shorter 1 byte",
    "stray 2 bytes after",
    "stray 1 byte before",
    "stray 5 bytes before",
    "echo",
    "wrong-unit",
    "wrong-function",
    "twice",
    "exception 0B",
    "exception 01 functionless",
    "busy",
    "close",
    "close midway",
    "reset",
    "reset midway",
    "read-limit 3 registers",
)
DETECTABLE = {
    "memory": (
        *EVERYWHERE,
        "wrong-transaction",
        "wrong-protocol",
        "wrong-length",
        "wrong-length 5",
        "previous",
        "twice 0.1 s",
        "stray 1 byte between",
        "stray 3 bytes between",
    ),
    "memory-rtu": (
        *EVERYWHERE,
        "wrong-crc",
        "flipped 1 bit",
        "flipped 2 bits",
        "flipped 3 bits",
        "stray 3 bytes between",
    ),
}
TRANSACTIONS = 5000
ANSWERED = TRANSACTIONS // 7
"""At least so many are answered, or it would be no wonder that none is wrong."""


async def taken_for_right(link, seed):
    """Wrong values among transactions each of which meets a fault; and how many were answered."""
    draw = random.Random(seed)
    wrong, answered, begun = [], 0, 0
    async with Bench(link, seed).served() as bench:
        clock: Clock = bench.clock
        while begun < TRANSACTIONS:
            fault = draw.choice(DETECTABLE[link])
            bench.plan.clear()
            bench.plan.begin(parse_link_fault(f"{fault}, 1 times"), clock.now())
            address, count = draw.randint(2, 40), draw.choice((4, 4, 4, 6, 10))
            await clock.sleep_until(bench.client.free_s)
            found = await bench.read(address, count)
            begun += not bench.plan.faults()
            answered += found.startswith("answered")
            if "WRONG VALUE" in found:
                wrong.append((begun, fault, found))
    return wrong, answered


@pytest.mark.parametrize("link", ["memory", "memory-rtu"])
def test_ten_thousand_faulty_transactions_give_no_wrong_value(link):
    wrong, answered = run_virtual(taken_for_right(link, 20))
    assert wrong == []
    assert answered > ANSWERED


LOSSY = ("silent, 2 %", "late 1.2 s, 1 %")


@pytest.mark.parametrize(
    "link",
    [RehearsalLink.MEMORY, RehearsalLink.MEMORY_RTU],
)
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_good_panel_on_a_lossy_link_fails_nothing(demo, demo_scripts, link, seed):
    faults = tuple(parse_link_fault(text) for text in (*LOSSY, "flipped 1 bit, 0.1 %"))
    options = RehearsalOptions(link=link, seed=seed, faults=faults)
    result = rehearse(demo, [demo_scripts["00"]], options)
    assert [v.id for v in result.verdicts if v.outcome.value == "failed"] == []
    assert result.stats.failed_exchanges > 10
    assert sum(v.outcome.value == "proven" for v in result.verdicts) > 100
