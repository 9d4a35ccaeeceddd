"""The map check over a bad link: nothing is failed that the panel did not do."""

import asyncio

import pytest

from gaswitness_probe.survey import survey
from gaswitness_sitefile.site import Site

POINTS = [
    {
        "name": f"R{n}",
        "table": "holding register",
        "address": n,
        "type": "uint16",
        "shows": "constant",
        "value": 100 + n,
    }
    for n in range(12)
]


def site(**pace):
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
            "pace": {"poll_period_s": 0.02, "timeout_s": 0.05} | pace,
            "timing": {"scan_s": 0.02, "refresh_s": 0.0, "shortest_dwell_s": 1.0},
            "points": POINTS,
        }
    )


@pytest.fixture(autouse=True)
def constants(panel):
    panel.memory[3] = {n: 100 + n for n in range(12)}


async def surveyed(panel, progress=None, **pace):
    found = site(**pace)
    client = panel.client(**found.pace.model_dump())
    await client.open()
    verdicts = await survey(client, found, client.clock, progress=progress)
    await client.close()
    return {verdict.id: verdict for verdict in verdicts}


def failed(verdicts):
    return {key for key, v in verdicts.items() if v.outcome.value == "failed"}


def points(verdicts):
    return {v.outcome.value for key, v in verdicts.items() if key.startswith("point/")}


async def test_lost_replies_are_asked_for_again_and_counted(panel):
    panel.twist = lambda number, request, reply: [] if number % 7 == 3 else [reply]
    told = []
    verdicts = await surveyed(panel, progress=told.append)
    assert failed(verdicts) == set()
    assert points(verdicts) == {"proven"}
    assert "requests got no reply" in verdicts["link/replies"].because
    assert any("try 2 of 3" in t.words for t in told)


async def test_late_replies_are_told_and_never_taken_for_another_register(panel):
    panel.twist = lambda number, request, reply: [0.06, reply] if number % 6 == 2 else [reply]
    verdicts = await surveyed(panel)
    assert failed(verdicts) == set()
    assert points(verdicts) == {"proven"}
    assert "late reply" in verdicts["link/replies"].because


async def test_dropped_connections_are_no_failure_of_the_panel(panel):
    panel.twist = lambda number, request, reply: ["close"] if number % 9 == 4 else [reply]
    verdicts = await surveyed(panel)
    assert failed(verdicts) == set()
    assert points(verdicts) == {"proven"}


async def test_silence_at_one_address_is_inconclusive_and_told_from_a_dead_link(panel):
    def answer(pdu):
        address, count = int.from_bytes(pdu[1:3], "big"), int.from_bytes(pdu[3:5], "big")
        return None if pdu[0] == 3 and address <= 5 < address + count else panel.plainly(pdu)

    # the block holds the silent address too, so the identification is the first to be answered
    panel.answer = answer
    verdicts = await surveyed(panel)
    assert failed(verdicts) == set()
    assert verdicts["point/R5"].outcome.value == "inconclusive"
    assert "3 of 3 tries failed" in verdicts["point/R5"].because
    assert "a control read between was answered 3 of 3 times" in verdicts["point/R5"].because
    assert verdicts["point/R4"].outcome.value == "proven"


async def test_link_that_damages_several_replies_in_a_row_does_not_fail_the_point(panel):
    left = {"alone": 5}

    def twist(number, request, reply):
        if request[7:12] == bytes.fromhex("03 0005 0001") and left["alone"]:
            left["alone"] -= 1
            return [reply[:7] + b"\x04" + reply[8:]]
        return [reply]

    panel.twist = twist
    verdicts = await surveyed(panel)
    assert left["alone"] == 0
    assert verdicts["point/R5"].outcome.value == "proven"
    assert "wrong function 5 times" in verdicts["link/replies"].because


async def test_link_that_goes_away_leaves_the_rest_inconclusive(panel):
    panel.twist = lambda number, request, reply: [reply] if number < 6 else []
    told = []
    verdicts = await surveyed(panel, progress=told.append)
    assert failed(verdicts) == set()
    assert points(verdicts) == {"proven", "inconclusive"} or points(verdicts) == {"inconclusive"}
    assert "given up after 6 failed tries" in verdicts["point/R11"].because
    assert any("given up" in t.words for t in told)


async def test_panel_that_is_gone_is_given_up_soon(panel):
    found = site()
    client = panel.client(**found.pace.model_dump())
    await client.open()
    await panel.stop()
    verdicts = await asyncio.wait_for(survey(client, found, client.clock), 20)
    assert {v.outcome.value for v in verdicts} <= {"inconclusive", "not_run"}
    await client.close()


async def test_nonsense_fails_the_link_and_leaves_the_rest_open(panel):
    panel.twist = lambda number, request, reply: [b"HTTP/1.1 400 Bad Request\r\n\r\n"]
    verdicts = await asyncio.wait_for(surveyed(panel), 60)
    assert verdicts["link/replies"].outcome.value == "failed"
    assert "not Modbus/TCP" in verdicts["link/replies"].because
    assert verdicts["point/R11"].outcome.value == "inconclusive"


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda r: r[:6] + b"\x09" + r[7:], "wrong unit id"),
        (lambda r: r[:7] + b"\x04" + r[8:], "wrong function"),
        (lambda r: r[:3] + b"\x01" + r[4:], "wrong protocol id"),
        (lambda r: b"\x77\x77" + r[2:], "wrong transaction id"),
    ],
)
async def test_replies_that_break_the_protocol_again_and_again_are_failed(panel, damage, words):
    panel.twist = lambda number, request, reply: [damage(reply) if number % 4 == 1 else reply]
    verdicts = await surveyed(panel)
    assert failed(verdicts) == {"link/unit" if "unit" in words else "link/replies"}
    found = next(v for v in verdicts.values() if v.outcome.value == "failed")
    assert words in found.because
    assert found.aspects[0].seen


async def test_damage_of_many_kinds_is_the_ways_and_fails_nobody(panel):
    """One kind again and again is how a panel is wrong; many kinds now and then, how a link is."""
    kinds = (
        lambda r: r[:6] + b"\x09" + r[7:],
        lambda r: r[:7] + b"\x04" + r[8:],
        lambda r: r[:3] + b"\x01" + r[4:],
        lambda r: b"\x77\x77" + r[2:],
    )
    panel.twist = lambda number, request, reply: [
        kinds[number // 3 % 4](reply) if number % 3 == 1 else reply
    ]
    verdicts = await surveyed(panel)
    assert failed(verdicts) == set()
    assert verdicts["link/replies"].outcome.value == "inconclusive"
    assert "damaged on the way" in verdicts["link/replies"].because
    assert verdicts["link/unit"].outcome.value == "inconclusive"


async def test_one_damaged_reply_is_no_failure(panel):
    panel.twist = lambda number, request, reply: [
        reply[:7] + b"\x04" + reply[8:] if number == 5 else reply
    ]
    verdicts = await surveyed(panel)
    assert failed(verdicts) == set()
    assert verdicts["link/replies"].outcome.value == "inconclusive"
    assert "may be chance" in verdicts["link/replies"].because


async def test_point_whose_every_reply_is_broken_is_failed(panel):
    def answer(pdu):
        if pdu == bytes.fromhex("03 0005 0001"):
            return bytes.fromhex("03 04 0000 0069")
        return panel.plainly(pdu)

    panel.answer = answer
    verdicts = await surveyed(panel)
    assert verdicts["point/R5"].outcome.value == "failed"
    assert "byte count 4, 2 were due" in verdicts["point/R5"].because
    assert verdicts["point/R6"].outcome.value == "proven"


async def test_panel_that_is_busy_for_a_while_is_waited_for(panel):
    count = 0

    def answer(pdu):
        nonlocal count
        count += 1
        return bytes((pdu[0] | 0x80, 6)) if count == 1 else panel.plainly(pdu)

    panel.answer = answer
    told = []
    verdicts = await surveyed(panel, progress=told.append)
    assert points(verdicts) == {"proven"}
    assert any("busy" in t.words for t in told)


async def test_panel_that_stays_busy_is_inconclusive(panel, monkeypatch):
    monkeypatch.setattr("gaswitness_probe.survey_reader.BUSY_WAITS_S", (0.01, 0.01))
    panel.answer = lambda pdu: bytes((pdu[0] | 0x80, 6))
    verdicts = await surveyed(panel)
    assert points(verdicts) == {"inconclusive"}
    assert "server device busy" in verdicts["point/R5"].because


async def test_padding_bits_are_noted_not_failed(panel):
    panel.memory[1] = {0: 1}
    panel.twist = lambda number, request, reply: [reply]
    found = Site.model_validate(
        site().model_dump()
        | {
            "points": [
                {"name": "C", "table": "coil", "address": 0, "type": "bit", "shows": "spare"}
            ]
        }
    )
    plain = panel.plainly
    panel.answer = lambda pdu: (
        b"\x01\x01\xff" if pdu[:3] == b"\x01\x00\x00" and pdu[3:] == b"\x00\x01" else plain(pdu)
    )
    client = panel.client()
    await client.open()
    verdicts = {v.id: v for v in await survey(client, found, client.clock)}
    await client.close()
    assert verdicts["point/C"].outcome.value == "proven"
    assert verdicts["link/replies"].outcome.value == "proven"
    assert "padding bits not zero" in verdicts["link/replies"].because
