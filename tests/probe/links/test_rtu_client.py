"""The client on RTU lines, over a socket and over a pseudo-terminal: what it takes, what it does
not, and how it names it."""

import asyncio
import os
import random

import pytest
from crccheck.crc import CrcModbus

from gaswitness_probe.deviation import Deviation
from gaswitness_probe.errors import NoConnection, Refused
from gaswitness_probe.frames import parse_identification
from gaswitness_sitefile.points import Table

HOLDING, INPUT = Table.HOLDING, Table.INPUT


def framed(text):
    body = bytes.fromhex(text)
    return body + CrcModbus.calc(body).to_bytes(2, "little")


async def ask(client, address=0, count=2):
    return await client.read(HOLDING, address, count)


def names(exchange):
    return [note.deviation for note in exchange.notes]


async def test_read_returns_frames_and_registers(line):
    client = line.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.request == framed("01 03 0000 0002")
    assert exchange.response == framed("01 03 04 0064 0065")
    assert exchange.payload == bytes.fromhex("0064 0065")
    assert exchange.notes == ()
    await client.close()


async def test_exception_is_a_refusal(line):
    client = line.client()
    await client.open()
    exchange = await ask(client, 63, 2)
    assert exchange.exception_code == 2
    with pytest.raises(Refused) as refused:
        exchange.required()
    assert (refused.value.function, refused.value.code) == (3, 2)
    await client.close()


async def test_identification_is_read(line):
    line.identity = b"Alder Works"
    client = line.client()
    await client.open()
    exchange = await client.read_identification()
    assert parse_identification(exchange.required()).objects == {0: b"Alder Works"}
    await client.close()


NOTED = [
    ("noise before", lambda q, r: [b"\xff\x00" + r], Deviation.STRAY_BEFORE, b"\xff\x00"),
    ("noise like a beginning", lambda q, r: [b"\x01\x03" + r], Deviation.STRAY_BEFORE, b"\x01\x03"),
    ("local echo", lambda q, r: [q, 0.01, r], Deviation.LOCAL_ECHO, framed("01 03 0000 0002")),
    ("echo and reply as one", lambda q, r: [q + r], Deviation.LOCAL_ECHO, None),
    ("released line", lambda q, r: [r + b"\x00\xff"], Deviation.UNASKED, b"\x00\xff"),
    ("answered twice", lambda q, r: [r + r], Deviation.REPEATED, None),
]


@pytest.mark.parametrize(("steps", "deviation", "raw"), [n[1:] for n in NOTED], ids=lambda v: "")
async def test_what_does_not_spoil_a_reply_is_named_and_kept(line, steps, deviation, raw):
    line.twist = lambda number, request, reply: steps(request, reply)
    client = line.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.payload == bytes.fromhex("0064 0065")
    assert names(exchange) == [deviation]
    assert raw is None or exchange.notes[0].raw == raw
    assert client.statistics.deviations == {deviation: 1}
    await client.close()


SPOILT = [
    (lambda r: r[:-1] + bytes((r[-1] ^ 1,)), Deviation.WRONG_CRC),
    (lambda r: r[:4] + bytes((r[4] ^ 0x10,)) + r[5:], Deviation.WRONG_CRC),
    (lambda r: r[:2] + bytes((r[2] ^ 2,)) + r[3:], Deviation.WRONG_CRC),
    (lambda r: r[:6], Deviation.TRUNCATED),
    (lambda r: r[:1], Deviation.TRUNCATED),
    (lambda r: b"", Deviation.NO_REPLY),
    (lambda r: framed("02 03 04 0064 0065"), Deviation.WRONG_UNIT),
    (lambda r: framed("01 04 04 0064 0065"), Deviation.WRONG_FUNCTION),
    (lambda r: framed("01 03 02 0064"), Deviation.WRONG_BYTE_COUNT),
    (lambda r: framed("01 03 06 0064 0065 0066"), Deviation.WRONG_BYTE_COUNT),
    (lambda r: framed("01 03 06 0064 0065"), Deviation.WRONG_BYTE_COUNT),
    (lambda r: framed("01 80 01"), Deviation.WRONG_FUNCTION),
    (lambda r: framed("01 83 02 00"), Deviation.MALFORMED_EXCEPTION),
    (lambda r: framed("01 03 04 0064 0065 0066"), Deviation.TOO_LONG),
    (lambda r: r[:5] + b"\x99" + r[5:], Deviation.WRONG_CRC),
    (lambda r: r + b"\x7e", Deviation.TOO_LONG),
    (lambda r: r + b"\x00" * 3, Deviation.TOO_LONG),
    (lambda r: b"\x00" * 5000, Deviation.WRONG_CRC),
]


@pytest.mark.parametrize(("damage", "deviation"), SPOILT)
async def test_bad_reply_is_refused_named_and_forgotten(socket_line, damage, deviation):
    socket_line.twist = lambda number, request, reply: [damage(reply) if number == 0 else reply]
    client = socket_line.client(timeout_s=0.05)
    await client.open()
    exchange = await ask(client)
    assert exchange.problem.deviation is deviation, exchange.words
    assert exchange.problem.raw or deviation is Deviation.NO_REPLY
    again = [await ask(client) for _ in range(3)]
    assert again[-1].payload == bytes.fromhex("0064 0065")
    assert all(e.ok or e.problem.deviation is Deviation.DOUBTFUL for e in again)
    await client.close()


async def test_reply_byte_by_byte_is_whole(line):
    line.twist = lambda n, q, r: [step for byte in r for step in (bytes((byte,)), 0.003)]
    client = line.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.ok
    assert exchange.notes == ()
    await client.close()


async def test_line_is_silent_before_every_request(pty_line):
    client = pty_line.client()
    await client.open()
    for _ in range(5):
        await ask(client)
    exchanges = list(zip(pty_line.at, pty_line.at[1:], strict=False))
    assert min(b - a for a, b in exchanges) >= 0.00175
    await client.close()


async def test_bytes_that_came_while_nothing_was_asked_are_told_with_the_next_request(line):
    line.twist = lambda n, q, r: [r, 0.03, b"\x55\x66"] if n == 0 else [r]
    client = line.client()
    await client.open()
    assert (await ask(client)).notes == ()
    await asyncio.sleep(0.06)
    exchange = await ask(client)
    assert exchange.ok
    assert [(n.deviation, n.raw) for n in exchange.notes] == [(Deviation.UNASKED, b"\x55\x66")]
    await client.close()


async def test_late_answer_is_named_with_its_request_and_the_next_is_right(line):
    line.twist = lambda n, q, r: [0.15, r] if n == 0 else [r]
    client = line.client()
    await client.open()
    late = await ask(client, 0, 1)
    assert late.problem.deviation is Deviation.NO_REPLY
    assert [(n.deviation, n.raw) for n in late.notes] == [(Deviation.LATE, framed("01 03 02 0064"))]
    exchange = await ask(client, 5, 1)
    assert exchange.payload == (105).to_bytes(2, "big")
    assert len(line.requests) == 2
    await client.close()


async def test_after_a_later_answer_the_line_is_heard_out_longer(socket_line):
    socket_line.twist = lambda n, q, r: [0.35, r] if n == 1 else [r]
    client = socket_line.client()
    await client.open()
    debts = client._framing.debts
    assert debts.quiet_s == pytest.approx(0.2)
    await client.read(INPUT, 0, 1)
    await ask(client, 0, 1)
    await asyncio.sleep(0.25)
    await client.read(INPUT, 0, 1)
    assert 0.7 <= debts.quiet_s < 1.2
    await client.close()


async def test_tag_shows_that_a_very_late_answer_is_past(line):
    # waiting alone would not do: the answer to request 1 comes after the line was heard out
    line.twist = lambda n, q, r: [0.7, r] if n == 1 else [0.2, r] if n == 2 else [r]
    seen = []
    client = line.client(seen=seen.append, timeout_s=0.3)
    await client.open()
    assert (await client.read(INPUT, 0, 1)).ok
    assert (await ask(client, 0, 1)).problem.deviation is Deviation.NO_REPLY
    exchange = await ask(client, 5, 1)
    assert exchange.payload == (105).to_bytes(2, "big")
    tag = seen[-2]
    assert tag.request == framed("01 04 0000 0001")
    assert names(tag) == [Deviation.LATE]
    assert [e.request for e in seen] == line.requests
    await client.close()


async def test_without_a_tag_the_first_like_answer_is_not_taken(line):
    line.twist = lambda n, q, r: [0.7, r] if n == 0 else [0.2, r]
    client = line.client(timeout_s=0.3)
    await client.open()
    assert (await ask(client, 0, 1)).problem.deviation is Deviation.NO_REPLY
    doubtful = await ask(client, 5, 1)
    assert doubtful.problem.deviation is Deviation.DOUBTFUL
    assert doubtful.pdu is None
    assert (await ask(client, 5, 1)).payload == (105).to_bytes(2, "big")
    await client.close()


async def test_request_is_not_sent_where_the_line_cannot_be_shown_clear(line):
    silent = False
    line.twist = lambda n, q, r: [] if silent else [r]
    client = line.client(timeout_s=0.05)
    await client.open()
    assert (await client.read(INPUT, 0, 1)).ok
    silent = True
    await ask(client, 0, 1)
    barred = await ask(client, 5, 1)
    assert barred.problem.deviation is Deviation.NOT_CLEAR
    assert barred.request == b""
    assert "failed: no reply" in barred.words
    await client.close()


async def test_cancelled_request_is_recorded_and_its_answer_not_taken(line):
    line.twist = lambda n, q, r: [0.05, r]
    seen = []
    client = line.client(seen=seen.append)
    await client.open()
    task = asyncio.create_task(ask(client, 0, 1))
    await asyncio.sleep(0.02)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert seen[0].problem.deviation is Deviation.ABANDONED
    exchange = await ask(client, 5, 1)
    assert exchange.payload == (105).to_bytes(2, "big")
    assert names(exchange) == [Deviation.LATE]
    await client.close()


@pytest.mark.parametrize("seed", range(4))
async def test_no_late_answer_is_ever_taken_for_another(socket_line, seed):
    """60 reads of one register each, a third of them answered late, some beyond all waiting: units
    answer in order, whatever the delay."""
    draw = random.Random(seed)
    turn = asyncio.Lock()
    play = socket_line.play

    async def in_order(request, send):
        async with turn:
            await play(request, send)

    socket_line.play = in_order
    socket_line.registers |= dict.fromkeys(range(100, 164), 0)
    delays = (0.0, 0.0, 0.0, 0.0, 0.015, 0.03, 0.045, 0.07)
    socket_line.twist = lambda n, q, r: [draw.choice(delays), r]
    client = socket_line.client(timeout_s=0.02)
    await client.open()
    wrong = taken = 0
    for _ in range(60):
        address = draw.randrange(64)
        await client.clock.sleep_until(client.free_s)
        exchange = await client.read(draw.choice((HOLDING, INPUT)), address, draw.choice((1, 1, 2)))
        if exchange.ok:
            taken += 1
            wrong += int.from_bytes(exchange.payload[:2], "big") != 100 + address
    assert wrong == 0
    assert taken >= 15
    assert client.statistics.deviations[Deviation.LATE] >= 3
    await client.close()


async def test_line_that_never_falls_silent_does_not_hold_the_client(socket_line):
    async def babble(request, send):
        for _ in range(400):
            send(b"\x55")
            await asyncio.sleep(0.001)

    socket_line.play = babble
    client = socket_line.client(timeout_s=0.05)
    await client.open()
    begun = asyncio.get_running_loop().time()
    exchange = await ask(client)
    assert exchange.problem.deviation is Deviation.WRONG_CRC
    assert asyncio.get_running_loop().time() - begun < 3.0
    await client.close()


async def test_closed_connection_is_made_anew(socket_line):
    socket_line.twist = lambda n, q, r: ["close"] if n == 0 else [r]
    client = socket_line.client()
    await client.open()
    assert (await ask(client)).problem.deviation is Deviation.CLOSED
    await client.clock.sleep_until(client.free_s)
    again = [await ask(client) for _ in range(2)]
    assert again[-1].ok
    assert socket_line.connections == 2
    await client.close()


@pytest.mark.parametrize("by_thread", [False, True])
async def test_line_is_read_by_the_loop_or_by_a_thread(pty_line, by_thread):
    client = pty_line.client()
    client._transport._by_thread = by_thread
    await client.open()
    assert (await ask(client)).payload == bytes.fromhex("0064 0065")
    await client.close()
    assert (await ask(client)).payload == bytes.fromhex("0064 0065")
    await client.close()


async def test_port_of_another_program_is_refused_in_words(pty_line):
    one, other = pty_line.client(), pty_line.client()
    await one.open()
    with pytest.raises(NoConnection, match="another program has this serial port"):
        await other.open()
    await one.close()
    await other.open()
    await other.close()


async def test_port_that_is_not_there_is_named(pty_line):
    pty_line.address = "rtu:///dev/no-such-port"
    with pytest.raises(NoConnection, match="/dev/no-such-port: there is no such serial port"):
        await pty_line.client().open()


@pytest.mark.parametrize(
    ("device", "words"),
    [
        ("/dev/null", "/dev/null: this is no serial port"),
        ("pty", "pty: only `serve` makes a pseudo-terminal"),
    ],
)
async def test_what_is_no_port_for_a_client_is_told_without_numbers(pty_line, device, words):
    pty_line.address = f"rtu:{device}"
    with pytest.raises(NoConnection, match=words) as told:
        await pty_line.client().open()
    assert "(25" not in str(told.value)


async def test_port_that_goes_away_is_a_broken_connection(pty_line):
    ours, theirs = os.openpty()
    pty_line.address = f"rtu://{os.ttyname(theirs)}"
    client = pty_line.client()
    await client.open()
    os.close(theirs)
    os.close(ours)
    exchange = await ask(client)
    assert exchange.problem.deviation is Deviation.RESET
    assert "is the converter unplugged?" in exchange.words
    assert not client.connected
    await client.close()
