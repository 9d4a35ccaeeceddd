"""The second reader on every link, and what a survey makes of a difference between the two."""

import pytest

from gaswitness_probe.errors import NoConnection
from gaswitness_probe.second_reader import SecondReader
from gaswitness_probe.survey import survey
from gaswitness_probe.verdict import Outcome
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.points import Table

PACE = Pace(timeout_s=0.3)

POINTS = [
    {"name": f"P{at}", "table": "holding register", "address": at, "type": "uint16"}
    | {"shows": "constant", "value": 100 + at}
    for at in range(4)
]


@pytest.fixture
def site(make_site):
    fast = {"timing": {"scan_s": 0.02, "refresh_s": 0}, "pace": {"poll_period_s": 0.02}}
    return make_site(POINTS, **fast)


def reader(address, unit=1):
    return SecondReader(parse_link(address), unit, PACE)


async def second_verdict(client, site, second):
    await client.open()
    verdicts = await survey(client, site, client.clock, second=second)
    await client.close()
    return next(verdict for verdict in verdicts if verdict.id == "link/second reader")


async def test_registers_are_read_over_rtu(line):
    second = reader(line.address)
    await second.open()
    found = await second.read(Table.HOLDING, 5, 3)
    assert found.words == (105, 106, 107)
    # CRC values by crccheck
    assert found.sent.hex(" ") == "01 03 00 05 00 03 15 ca"
    assert found.received[:9].hex(" ") == "01 03 06 00 69 00 6a 00 6b"
    refused = await second.read(Table.HOLDING, 63, 2)
    assert refused.words is None
    assert refused.refused
    assert "exception 02" in refused.trouble
    await second.close()


async def test_every_table_is_read_over_tcp(panel):
    panel.memory[1] |= dict(enumerate([1, 0, 1]))
    panel.memory[2] |= dict(enumerate([0, 1, 1]))
    panel.memory[3] |= {7: 0x1234}
    panel.memory[4] |= {8: 10}
    second = reader(f"tcp://127.0.0.1:{panel.port}")
    await second.open()
    assert (await second.read(Table.COIL, 0, 3)).words == (1, 0, 1)
    assert (await second.read(Table.DISCRETE_INPUT, 0, 3)).words == (0, 1, 1)
    assert (await second.read(Table.HOLDING, 7, 1)).words == (0x1234,)
    assert (await second.read(Table.INPUT, 8, 1)).words == (10,)
    await second.close()


async def test_silence_is_told_after_one_request(line, capfd):
    line.twist = lambda n, q, r: []
    second = reader(line.address)
    await second.open()
    found = await second.read(Table.HOLDING, 0, 1)
    assert found.words is None
    assert not found.refused
    assert "No response received" in found.trouble
    assert len(line.requests) == 1
    await second.close()
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    "pdu",
    ["03", "04", "2B", "03 04 0066", "03 00"],
    ids=["no byte count", "no byte count, other function", "other", "short", "no registers"],
)
async def test_what_the_other_library_cannot_take_is_no_reading_and_no_traceback(
    panel, pdu, capfd, caplog
):
    body = bytes.fromhex(pdu)
    panel.memory[3] |= {7: 0x1234}
    panel.twist = lambda number, request, reply: [
        reply[:4] + (len(body) + 1).to_bytes(2, "big") + reply[6:7] + body if number == 0 else reply
    ]
    second = reader(f"tcp://127.0.0.1:{panel.port}")
    await second.open()
    found = await second.read(Table.HOLDING, 7, 1)
    assert found.words is None
    assert not found.refused
    assert found.trouble
    assert (await second.read(Table.HOLDING, 7, 1)).words == (0x1234,)
    await second.close()
    assert "Traceback" not in capfd.readouterr().err
    assert [record for record in caplog.records if record.name == "asyncio"] == []


async def test_where_nothing_listens_it_says_so():
    with pytest.raises(NoConnection, match=r"pymodbus 3\..* finds no connection to tcp://"):
        await reader("tcp://127.0.0.1:1").open()


async def test_both_readers_agree(line, site):
    verdict = await second_verdict(line.client(), site, reader(line.address))
    assert verdict.outcome is Outcome.PROVEN
    assert verdict.seen.startswith("4 of 4 places the same through pymodbus 3.")


async def test_never_two_connections_at_once(panel, site):
    panel.memory[3] |= {n: 100 + n for n in range(4)}
    open_now = most = 0
    serve = panel._serve

    async def counted(stream, writer):
        nonlocal open_now, most
        open_now += 1
        most = max(most, open_now)
        await serve(stream, writer)
        open_now -= 1

    await panel.stop()
    panel._serve = counted
    await panel.start()
    second = reader(f"tcp://127.0.0.1:{panel.port}")
    verdict = await second_verdict(panel.client(), site, second)
    assert verdict.outcome is Outcome.PROVEN
    assert panel.connections == 3
    assert most == 1


async def test_difference_that_stands_is_failed_with_the_frames_of_both(socket_line, site):
    def twist(number, request, reply):
        if socket_line.connections % 2 == 0 and request[3] == 2:
            other = dict(socket_line.registers)
            socket_line.registers[2] = 7777
            reply = socket_line.answer(request)
            socket_line.registers = other
        return [reply]

    socket_line.twist = twist
    verdict = await second_verdict(socket_line.client(), site, reader(socket_line.address))
    assert verdict.outcome is Outcome.FAILED
    (aspect,) = verdict.aspects
    assert aspect.name == "holding register 2"
    assert "ours reads 0066, pymodbus" in aspect.because
    assert "1E61, 5 times, and it stands still" in aspect.because
    assert "received 01 03 02 00 66" in aspect.seen
    assert "received 01 03 02 1E 61" in aspect.seen


async def test_register_that_flickers_is_not_failed_by_two_chances(socket_line, site):
    """Twice ours sees one value before and after, the other reader another; then both change."""

    def twist(number, request, reply):
        flips = socket_line.connections in (2, 4) or socket_line.connections > 5
        if flips and request[3] == 2:
            other = dict(socket_line.registers)
            socket_line.registers[2] = 7777
            reply = socket_line.answer(request)
            socket_line.registers = other
        return [reply]

    socket_line.twist = twist
    verdict = await second_verdict(socket_line.client(), site, reader(socket_line.address))
    assert verdict.outcome is Outcome.PROVEN
    assert verdict.seen.startswith("4 of 4 places the same")


async def test_difference_that_does_not_stand_is_told_with_the_frames_of_both(socket_line, site):
    def twist(number, request, reply):
        if socket_line.connections == 2 and request[3] == 2:
            other = dict(socket_line.registers)
            socket_line.registers[2] = 7777
            reply = socket_line.answer(request)
            socket_line.registers = other
        return [reply]

    socket_line.twist = twist
    verdict = await second_verdict(socket_line.client(), site, reader(socket_line.address))
    assert verdict.outcome is Outcome.PROVEN
    assert verdict.seen.startswith("4 of 4 places the same")
    assert "holding register 2: once pymodbus" in verdict.because
    assert "read 1E61, then the same (ours: sent" in verdict.because
    assert "received 01 03 02 00 66" in verdict.because
    assert "received 01 03 02 1E 61" in verdict.because


async def test_place_that_changes_is_not_compared(socket_line, site):
    ticks = iter(range(10_000))

    def twist(number, request, reply):
        if request[3] == 1:
            socket_line.registers[1] = 5000 + next(ticks)
            reply = socket_line.answer(request)
        return [reply]

    socket_line.twist = twist
    verdict = await second_verdict(socket_line.client(), site, reader(socket_line.address))
    assert verdict.outcome is Outcome.PROVEN
    assert "3 of 4 places the same" in verdict.seen
    assert verdict.because == "not compared, as they change: holding register 1"


async def test_place_that_the_other_cannot_read_is_open(socket_line, site):
    def twist(number, request, reply):
        return [] if socket_line.connections % 2 == 0 and request[3] == 3 else [reply]

    socket_line.twist = twist
    verdict = await second_verdict(socket_line.client(), site, reader(socket_line.address))
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert "No response received" in verdict.aspects[0].because


async def test_panel_that_lets_no_second_reader_in_leaves_it_open(panel, site):
    panel.memory[3] |= {n: 100 + n for n in range(4)}
    second = reader("tcp://127.0.0.1:1")
    verdict = await second_verdict(panel.client(), site, second)
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert "it could not be done: pymodbus" in verdict.because
