"""The client against a panel on a real socket that behaves, or does not."""

import asyncio
import socket
from itertools import pairwise

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.errors import Malformed, NoConnection, NoReply, Refused
from gaswitness_probe.frames import parse_identification
from gaswitness_probe.transport import TcpTransport
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table

HOLDING = Table.HOLDING


@pytest.fixture(autouse=True)
def some_registers(panel):
    panel.memory[3] = {n: 100 + n for n in range(10)}


def retagged(reply, **header):
    """The frame with another transaction id, protocol id, length, unit."""
    parts = {
        "tid": reply[0:2],
        "protocol": reply[2:4],
        "length": reply[4:6],
        "unit": reply[6:7],
    } | header
    return b"".join(parts.values()) + reply[7:]


async def ask(client, address=0, count=2):
    return await client.read(HOLDING, address, count)


async def test_read_returns_frames_instants_and_registers(panel):
    seen = []
    client = panel.client(on_exchange=seen.append)
    await client.open()
    exchange = await ask(client)
    assert exchange.request == bytes.fromhex("0001 0000 0006 01 03 0000 0002")
    assert exchange.response == bytes.fromhex("0001 0000 0007 01 03 04 0064 0065")
    assert exchange.payload == bytes.fromhex("0064 0065")
    assert exchange.required() == bytes.fromhex("03 04 0064 0065")
    assert exchange.sent_s <= exchange.received_s
    assert seen == [exchange]
    await client.close()


async def test_exception_is_returned_with_its_code(panel):
    client = panel.client()
    await client.open()
    exchange = await ask(client, address=9)
    assert (exchange.ok, exchange.exception_code, exchange.problem) == (False, 2, None)
    assert "nothing at one or more of these addresses" in exchange.words
    with pytest.raises(Refused, match="exception 02") as refused:
        exchange.required()
    assert (refused.value.function, refused.value.code) == (3, 2)
    await client.close()


@pytest.mark.parametrize(
    ("header", "deviation"),
    [
        ({"unit": b"\x02"}, Deviation.WRONG_UNIT),
        ({"protocol": b"\x00\x01"}, Deviation.WRONG_PROTOCOL),
        ({"tid": b"\x77\x77"}, Deviation.WRONG_TRANSACTION),
        ({"tid": b"\x00\x00"}, Deviation.WRONG_TRANSACTION),
        ({"length": b"\x00\x00"}, Deviation.WRONG_LENGTH),
        ({"length": b"\x00\x06"}, Deviation.TRUNCATED),
        ({"length": b"\x00\x08"}, Deviation.TRUNCATED),
    ],
)
async def test_wrong_header_is_named_and_kept_with_its_bytes(panel, header, deviation):
    panel.twist = lambda number, request, reply: [
        retagged(reply, **header) if number == 0 else reply
    ]
    client = panel.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.problem.deviation is deviation
    assert exchange.problem.raw
    assert client.statistics.deviations == {deviation: 1}
    assert client.statistics.examples[deviation] == [exchange]
    with pytest.raises(Malformed) as malformed:
        exchange.required()
    assert malformed.value.raw == exchange.problem.raw
    await asyncio.sleep(0.1)
    assert (await ask(client)).ok
    await client.close()


async def test_constant_transaction_id_is_never_taken_for_ours(panel):
    panel.twist = lambda number, request, reply: [retagged(reply, tid=b"\x00\x01")]
    client = panel.client()
    await client.open()
    exchanges = [await ask(client) for _ in range(3)]
    assert [e.ok for e in exchanges] == [True, False, False]
    assert {e.problem.deviation for e in exchanges[1:]} == {Deviation.WRONG_TRANSACTION}
    await client.close()


async def test_silence_is_no_reply_within_the_time_out(panel):
    panel.twist = lambda number, request, reply: []
    client = panel.client(timeout_s=0.1)
    await client.open()
    exchange = await ask(client)
    assert exchange.problem.deviation is Deviation.NO_REPLY
    assert 0.09 < exchange.received_s - exchange.sent_s < 0.3
    assert client.statistics.timeouts == 1
    with pytest.raises(NoReply, match=r"within 0.1 s"):
        exchange.required()
    await client.close()


async def test_late_reply_is_discarded_and_the_right_one_awaited(panel):
    panel.memory[3] |= {0: 111, 5: 555}

    def twist(number, request, reply):
        return [0.15, reply] if number == 0 else [0.02, reply]

    panel.twist = twist
    client = panel.client(timeout_s=0.1)
    await client.open()
    assert (await ask(client, 0, 1)).problem.deviation is Deviation.NO_REPLY
    exchange = await ask(client, 5, 1)
    assert exchange.payload == (555).to_bytes(2, "big")
    assert [note.deviation for note in exchange.notes] == [Deviation.LATE]
    assert exchange.notes[0].raw[-2:] == (111).to_bytes(2, "big")
    assert client.statistics.connections == 1
    await client.close()


async def test_second_copy_of_a_reply_is_noted(panel):
    panel.twist = lambda number, request, reply: [reply, reply] if number == 0 else [reply]
    client = panel.client()
    await client.open()
    assert (await ask(client)).ok
    exchange = await ask(client)
    assert exchange.ok
    assert [note.deviation for note in exchange.notes] == [Deviation.REPEATED]
    await client.close()


async def test_reply_to_a_request_never_made_is_noted_and_the_right_one_awaited(panel):
    panel.twist = lambda number, request, reply: [retagged(reply, tid=b"\x77\x77"), reply]
    client = panel.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.ok
    assert [note.deviation for note in exchange.notes] == [Deviation.WRONG_TRANSACTION]
    await client.close()


async def test_reply_byte_by_byte_is_whole(panel):
    def twist(number, request, reply):
        steps = []
        for at in range(len(reply)):
            steps += [reply[at : at + 1], 0.002]
        return steps

    panel.twist = twist
    client = panel.client(timeout_s=1.0)
    await client.open()
    assert (await ask(client)).ok
    await client.close()


@pytest.mark.parametrize(
    ("steps", "deviation"),
    [
        (lambda reply: ["close"], Deviation.CLOSED),
        (lambda reply: ["reset"], Deviation.RESET),
        (lambda reply: [reply[:9], "close"], Deviation.CLOSED),
        (lambda reply: [b"HTTP/1.1 400 Bad Request\r\n\r\n"], Deviation.NOT_MODBUS),
        (lambda reply: [reply[:9]], Deviation.TRUNCATED),
    ],
)
async def test_lost_connection_is_named_and_made_anew(panel, steps, deviation):
    panel.twist = lambda number, request, reply: steps(reply) if number == 0 else [reply]
    client = panel.client()
    await client.open()
    exchange = await ask(client)
    # a reset may show as a close, by what the kernel has delivered before it
    assert exchange.problem.deviation in {deviation, Deviation.CLOSED}
    assert not client.connected
    await client.clock.sleep_until(client.free_s)
    assert (await ask(client)).ok
    assert client.statistics.reconnects == 1
    assert panel.connections == 2
    await client.close()


@pytest.mark.parametrize(
    "rest", [b"\xff" * 8, b"\x00\x05\x00", b"\x00", b"\x00\x01\x00\x00\x00\x09"]
)
async def test_bytes_that_run_on_after_a_reply_spoil_it_and_the_connection_is_made_anew(
    panel, rest
):
    """They may be the end of a reply into which others came: then each value in it is another."""
    panel.twist = lambda number, request, reply: [reply + rest if number == 0 else reply]
    client = panel.client()
    await client.open()
    exchange = await ask(client)
    assert exchange.problem.deviation is Deviation.TOO_LONG
    assert exchange.problem.raw.endswith(rest)
    assert len(exchange.problem.raw) > len(rest)
    assert exchange.pdu is None
    await client.clock.sleep_until(client.free_s)
    assert (await ask(client)).ok
    await client.close()


async def test_nothing_is_sent_before_the_back_off_is_over(panel):
    panel.twist = lambda number, request, reply: ["close"]
    client = panel.client()
    await client.open()
    await ask(client)
    exchange = await ask(client)
    assert exchange.problem.deviation is Deviation.NO_CONNECTION
    assert exchange.request == b""
    assert len(panel.requests) == 1
    with pytest.raises(NoConnection, match="waiting before"):
        exchange.required()
    await client.close()


async def test_back_off_doubles_until_something_is_answered(panel):
    good = False
    panel.twist = lambda number, request, reply: [reply] if good else ["close"]
    client = panel.client()
    await client.open()
    waits = []
    for _ in range(3):
        await client.clock.sleep_until(client.free_s)
        exchange = await ask(client)
        waits.append(client.free_s - exchange.received_s)
    assert waits == pytest.approx([0.1, 0.2, 0.4], abs=0.01)
    good = True
    await client.clock.sleep_until(client.free_s)
    assert (await ask(client)).ok
    good = False
    exchange = await ask(client)
    assert client.free_s - exchange.received_s == pytest.approx(0.1, abs=0.01)
    await client.close()


async def test_panel_that_went_away_is_tried_again_until_it_is_back(panel):
    client = panel.client()
    await client.open()
    port = panel.port
    await panel.stop()
    assert (await ask(client)).problem.deviation in {Deviation.CLOSED, Deviation.RESET}
    await client.clock.sleep_until(client.free_s)
    refused = await ask(client)
    assert refused.problem.deviation is Deviation.NO_CONNECTION
    assert "refuses the connection" in refused.words
    assert client.statistics.failed_connections == 1
    await panel.start(port)
    await client.clock.sleep_until(client.free_s)
    assert (await ask(client)).ok
    await client.close()


async def test_half_open_connection_is_made_anew_after_three_silences(panel):
    panel.twist = lambda number, request, reply: [reply] if number >= 3 else []
    client = panel.client(timeout_s=0.05)
    await client.open()
    for _ in range(3):
        assert (await ask(client)).problem.deviation is Deviation.NO_REPLY
    assert not client.connected
    await client.clock.sleep_until(client.free_s)
    assert (await ask(client)).ok
    assert panel.connections == 2
    await client.close()


async def test_request_gap_is_kept(panel):
    client = panel.client(request_gap_s=0.05)
    await client.open()
    exchanges = [await ask(client) for _ in range(4)]
    gaps = [b.sent_s - a.received_s for a, b in pairwise(exchanges)]
    assert min(gaps) >= 0.05
    await client.close()


async def test_two_tasks_never_have_two_requests_in_flight(panel):
    panel.twist = lambda number, request, reply: [0.03, reply]
    client = panel.client()
    await client.open()
    exchanges = await asyncio.gather(*(ask(client) for _ in range(3)))
    spans = sorted((e.sent_s, e.received_s) for e in exchanges)
    assert all(a[1] <= b[0] for a, b in pairwise(spans))
    await client.close()


async def test_cancelled_request_is_recorded_and_its_reply_told_apart(panel):
    panel.twist = lambda number, request, reply: [0.05, reply]
    seen = []
    client = panel.client(on_exchange=seen.append)
    await client.open()
    task = asyncio.create_task(ask(client, 0, 1))
    await asyncio.sleep(0.02)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert seen[0].problem.deviation is Deviation.ABANDONED
    exchange = await ask(client, 5, 1)
    assert exchange.payload == (105).to_bytes(2, "big")
    assert [note.deviation for note in exchange.notes] == [Deviation.LATE]
    await client.close()


async def test_transaction_ids_go_round_after_65535(panel):
    client = panel.client()
    await client.open()
    client._framing.transaction = 0xFFFE
    exchanges = [await ask(client) for _ in range(3)]
    assert [e.request[:2].hex() for e in exchanges] == ["ffff", "0000", "0001"]
    assert all(e.ok for e in exchanges)
    await client.close()


async def test_response_times_and_counts_are_kept(panel):
    panel.twist = lambda number, request, reply: [0.05, reply] if number == 1 else [reply]
    client = panel.client()
    await client.open()
    for address in (0, 1, 50):
        await ask(client, address)
    statistics = client.statistics
    shortest, middle, longest = statistics.response_s
    assert shortest <= middle < 0.05 <= longest
    assert (statistics.requests, statistics.replies) == (3, 3)
    assert statistics.exceptions == {2: 1}
    await client.close()


async def test_identification_is_asked_and_read(panel):
    panel.identity = {0: b"Example Works", 1: b"GP", 2: b"1.0"}
    client = panel.client()
    await client.open()
    exchange = await client.read_identification()
    assert exchange.request[7:] == bytes.fromhex("2B 0E 01 00")
    assert parse_identification(exchange.required()).objects[0] == b"Example Works"
    await client.close()


async def test_open_where_nothing_listens_says_what_to_check(loop_clock):
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        port = bound.getsockname()[1]
        transport = TcpTransport("127.0.0.1", port)
        client = Client(transport, unit=1, clock=loop_clock, pace=Pace())
        with pytest.raises(NoConnection, match="refuses the connection: check the port"):
            await client.open()


async def test_open_of_a_name_that_cannot_be_says_so(loop_clock):
    client = Client(
        TcpTransport("no such host.invalid", 502), unit=1, clock=loop_clock, pace=Pace()
    )
    with pytest.raises(NoConnection, match="leads nowhere"):
        await client.open()


async def test_flood_is_read_no_further_than_asked(panel):
    panel.twist = lambda number, request, reply: [b"\x00" * 65536] * 64
    transport = TcpTransport("127.0.0.1", panel.port)
    await transport.open()
    await transport.send(bytes.fromhex("0001 0000 0006 01 03 0000 0001"))
    await asyncio.sleep(0.05)
    taken = len(await transport.receive())
    assert 65536 <= taken < 4 * 65536
    while taken < 64 * 65536:
        taken += len(await transport.receive())
    assert taken == 64 * 65536
    await transport.close()
