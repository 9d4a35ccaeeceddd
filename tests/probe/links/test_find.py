"""The search for who answers, on pseudo-terminals and sockets."""

import asyncio
import time

import pytest

from gaswitness_probe.errors import NoConnection
from gaswitness_probe.find import Told, find
from gaswitness_probe.find_plan import FIRST_LINES, LIKELY_UNITS, Search, chance, in_order
from gaswitness_sitefile.link_address import SerialLine, parse_link

FAST = (SerialLine(115200, "even", 1), SerialLine(57600, "even", 1))


async def search(address, clock, lines, units, timeout_s=0.04):
    told = []
    plan = Search(lines, units, timeout_s, 0.002)
    watch = Told(told.append, told.append)
    return await find(parse_link(address), plan, clock, watch), told


def test_likeliest_comes_first():
    assert [str(line) for line in FIRST_LINES[:3]] == [
        "baud=19200&parity=even&stop=1",
        "baud=9600&parity=even&stop=1",
        "baud=9600&parity=none&stop=1",
    ]
    assert in_order(tuple(range(1, 248)))[:6] == (1, 2, 247, 3, 4, 5)
    assert len(set(FIRST_LINES)) == len(FIRST_LINES)


def test_likely_units_are_tried_at_all_settings_before_others_at_any():
    tries = [(one.line, one.unit) for one in Search(FAST, (1, 2, 100)).tries()]
    fast, slow = FAST
    assert tries == [(fast, 1), (fast, 2), (slow, 1), (slow, 2), (fast, 100), (slow, 100)]


def test_bound_is_told_in_advance():
    # 264 characters of 11 bits at 19200 baud: 151.25 ms; T3.5 twice: 4.01 ms; 0.3 s twice; a pause
    one = Search((FIRST_LINES[0],), (1,))
    assert one.longest_s == pytest.approx(0.15125 + 0.0040104 + 0.6 + 0.05, abs=1e-6)
    assert Search(FIRST_LINES, LIKELY_UNITS).count == 16 * 33


def test_chance_is_that_of_a_16_bit_check():
    assert chance(1) == 1 / 65536
    assert chance(5) == pytest.approx(8.27e-25, rel=1e-3)


async def test_unit_on_a_line_is_found_with_what_it_says(pty_line, loop_clock):
    pty_line.units = {2}
    pty_line.identity = b"Alder Works"
    findings, told = await search(pty_line.address, loop_clock, FAST, (1, 2, 3))
    (heard,) = findings.heard
    assert (heard.line, heard.unit, heard.answers, heard.asked) == (FAST[0], 2, 5, 5)
    assert (heard.register, heard.identity) == ("0064", "Alder Works")
    assert findings.certain
    assert findings.tried == 3
    assert told == [FAST[0], heard]
    assert {request[1] for request in pty_line.requests} == {0x03, 0x2B}


async def test_refusal_is_an_answer_too(pty_line, loop_clock):
    pty_line.registers.clear()
    findings, _ = await search(pty_line.address, loop_clock, FAST[:1], (1,))
    assert findings.heard[0].register.startswith("exception 02")
    assert findings.certain


async def test_silent_line_takes_no_longer_than_was_told(pty_line, loop_clock):
    pty_line.units = set()
    plan = Search(FAST, (1, 2, 3), 0.04, 0.002)
    begun = time.perf_counter()
    findings = await find(
        parse_link(pty_line.address), plan, loop_clock, Told(lambda _: None, lambda _: None)
    )
    # what the event loop and a busy machine add
    assert time.perf_counter() - begun < plan.longest_s + 0.3
    assert findings.tried == plan.count == len(pty_line.requests) == 6
    assert not findings.certain
    assert findings.heard == []


async def test_one_request_at_a_time_with_pauses(pty_line, loop_clock):
    await search(pty_line.address, loop_clock, FAST[:1], (1,))
    gaps = [b - a for a, b in zip(pty_line.at, pty_line.at[1:], strict=False)]
    assert len(gaps) == 5
    assert min(gaps) >= 0.002


async def test_noise_is_counted_and_nothing_is_certain(pty_line, loop_clock):
    pty_line.twist = lambda n, q, r: [b"\xf8\x00\x13\x77\x42\xff"]
    findings, _ = await search(pty_line.address, loop_clock, FAST[:1], (1, 2))
    assert findings.garbled == {FAST[0]: 1}
    assert not findings.certain


async def test_unit_that_answers_only_now_and_then_is_not_certain(pty_line, loop_clock):
    pty_line.twist = lambda n, q, r: [r] if n in (0, 3) else []
    findings, _ = await search(pty_line.address, loop_clock, FAST[:1], (1,))
    assert [(heard.answers, heard.asked) for heard in findings.heard] == [(2, 5)]
    assert not findings.certain


async def test_answer_that_comes_too_late_is_told(pty_line, loop_clock):
    pty_line.twist = lambda n, q, r: [0.06, r]
    findings, _ = await search(pty_line.address, loop_clock, FAST[:1], (1,))
    assert (findings.late, findings.certain) == (1, False)


async def test_units_behind_a_gateway_are_found(panel, loop_clock):
    panel.memory[3] |= {0: 7}
    panel.twist = lambda n, request, reply: (
        [reply] if request[6] == 5 else [reply[:4] + b"\x00\x03" + request[6:7] + b"\x83\x0b"]
    )
    address = f"tcp://127.0.0.1:{panel.port}"
    findings, _ = await search(address, loop_clock, (None,), (1, 2, 247, 3, 4, 5, 6))
    assert [(heard.unit, heard.register, heard.answers) for heard in findings.heard] == [
        (5, "0007", 5)
    ]
    assert findings.turned_away == 6
    assert panel.connections == 1


async def test_gateway_that_keeps_silent_is_asked_on_over_one_connection(panel, loop_clock):
    panel.memory[3] |= {0: 7}
    panel.twist = lambda n, request, reply: [reply] if request[6] == 9 else []
    address = f"tcp://127.0.0.1:{panel.port}"
    findings, _ = await search(address, loop_clock, (None,), tuple(range(1, 10)), 0.02)
    assert [heard.unit for heard in findings.heard] == [9]
    assert panel.connections == 1


async def test_panel_that_answers_to_any_unit_id_is_asked_no_further(panel, loop_clock):
    panel.memory[3] |= {0: 7}
    address = f"tcp://127.0.0.1:{panel.port}"
    findings, _ = await search(address, loop_clock, (None,), in_order(tuple(range(1, 248))))
    assert findings.any_unit
    assert findings.tried == 4


async def test_link_that_cannot_be_opened_is_an_error(loop_clock):
    with pytest.raises(NoConnection, match="no such serial port"):
        await search("rtu:///dev/no-such-port", loop_clock, FAST, (1,))


async def test_search_can_be_stopped(pty_line, loop_clock):
    pty_line.units = set()
    task = asyncio.create_task(search(pty_line.address, loop_clock, FAST, tuple(range(1, 100))))
    await asyncio.sleep(0.1)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    made = len(pty_line.requests)
    await asyncio.sleep(0.1)
    assert len(pty_line.requests) == made
    # the port is free again
    client = pty_line.client()
    await client.open()
    await client.close()
