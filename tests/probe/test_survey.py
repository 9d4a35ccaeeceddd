"""The map check against a panel on a real socket: nothing wrong, then one thing wrong at a time.

Registers are written down by hand (IEEE 754 binary32: 20.9 = 41A7 3333, 50.0 = 4248 0000,
20.0 = 41A0 0000); the panel's code is the tests' own.
"""

import asyncio
import struct

import pytest

from gaswitness_probe.survey import survey
from gaswitness_sitefile.site import Site

HOLDING, INPUT = "holding register", "input register"
COIL, DISCRETE = "coil", "discrete input"


def point(name, table, address, kind, shows, **more):
    return {
        "name": name,
        "table": table,
        "address": address,
        "type": kind,
        "shows": shows,
    } | more


POINTS = [
    point("GAS1", INPUT, 10, "float32", "AT-1.reading", unit="%LEL"),
    point("GAS2", INPUT, 12, "int16", "AT-2.reading", scale=0.1, unit="%vol", sentinel=32767),
    point("GAS1X", INPUT, 13, "int16", "AT-1.reading", scale=0.1),
    point(
        "STATE1", INPUT, 20, "enumeration", "AT-1.state", codes={0: "normal", 1: "A1", 8: "fault"}
    ),
    point("FLAGS", INPUT, 21, "bit field", "bits", bits={0: "AT-1.A1", 8: "AT-1.fault"}),
    point("BEAT", INPUT, 22, "uint16", "heartbeat"),
    point("HOURS", INPUT, 23, "bcd16", "spare"),
    point("SET1", HOLDING, 0, "float32", "AT-1.A1.setpoint", access="rw"),
    point("SET2", HOLDING, 2, "int16", "AT-2.A1.setpoint", scale=0.1),
    point("MODEL", HOLDING, 3, "uint16", "constant", value=4711),
    point("NAME", HOLDING, 4, "string", "constant", length=3, value="NORTH"),
    point("RESET", HOLDING, 7, "uint16", "panel.reset", access="w"),
    point("F2", DISCRETE, 0, "bit", "AT-2.fault"),
    point("K1", DISCRETE, 1, "bit", "K1.active"),
    point("K1COIL", DISCRETE, 2, "bit", "K1.energised"),
    point("A1BIT", DISCRETE, 3, "bit", "AT-1.A1"),
    point("CMD", COIL, 5, "bit", "panel.mute", access="rw"),
]

SITE = {
    "gaswitness_site": 1,
    "panel": {"tag": "GP-1", "vendor": "Example Works", "product": "GP", "revision": "1.0"},
    "channels": [
        {
            "tag": "AT-1",
            "gas": "CH4",
            "unit": "%LEL",
            "range": [0, 100],
            "levels": {"A1": {"setpoint": 20}},
        },
        {
            "tag": "AT-2",
            "gas": "O2",
            "unit": "%vol",
            "range": [0, 25],
            "levels": {"A1": {"setpoint": 19.5, "direction": "falling"}},
        },
    ],
    "outputs": [{"tag": "K1", "kind": "relay", "normally_energised": True}],
    "pace": {"poll_period_s": 0.02, "timeout_s": 0.15, "largest_read_registers": 7},
    "timing": {"scan_s": 0.02, "refresh_s": 0.0, "shortest_dwell_s": 1.0, "heartbeat_s": 0.05},
    "points": POINTS,
}


def memory():
    return {
        1: {5: 0},
        2: {0: 0, 1: 0, 2: 1, 3: 0},
        # 20.0; 19.5 x 10; 4711; "NORTH"
        3: dict(enumerate([0x41A0, 0x0000, 195, 4711, 0x4E4F, 0x5254, 0x4800])),
        4: {10: 0x4248, 11: 0, 12: 209, 13: 500, 20: 0, 21: 0, 22: 0, 23: 0x0042},
    }


@pytest.fixture
def good(panel):
    """The panel of SITE with nothing wrong."""
    panel.memory = memory()
    panel.identity = {0: b"Example Works", 1: b"GP", 2: b"1.0"}

    def answer(pdu):
        panel.memory[4][22] = int(asyncio.get_running_loop().time() / 0.05) & 0xFFFF
        return panel.plainly(pdu)

    panel.answer = answer
    return panel


def site(**parts):
    return Site.model_validate(SITE | parts)


def with_point(name, **changes):
    return site(points=[p | changes if p["name"] == name else p for p in POINTS])


async def surveyed(panel, found=None, progress=None):
    found = found or site()
    client = panel.client(**found.pace.model_dump())
    await client.open()
    verdicts = await survey(client, found, client.clock, progress=progress)
    await client.close()
    return {verdict.id: verdict for verdict in verdicts}


def wrong(verdicts):
    """Ids that are not proven, with their outcome."""
    expected_not_run = {"point/RESET"}
    return {
        key: v.outcome.value
        for key, v in verdicts.items()
        if v.outcome.value != "proven" and key not in expected_not_run
    }


def aspect(verdict, name):
    return next(a for a in verdict.aspects if a.name == name)


async def test_good_panel_is_proven_in_all_that_can_be_read(good):
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {}
    assert [key for key in verdicts if key.startswith("point/")] == [
        f"point/{p['name']}" for p in POINTS
    ]
    assert {key for key in verdicts if key.startswith("link/")} == {
        "link/replies",
        "link/unit",
        "link/identification",
        "link/heartbeat",
        "link/unmapped",
        "link/largest_read_registers",
        "link/exceptions",
    }


async def test_survey_writes_nothing(good):
    await surveyed(good)
    assert {request[7] for request in good.requests} <= {1, 2, 3, 4, 0x2B, 99}


async def test_point_that_can_only_be_written_is_not_run(good):
    verdict = (await surveyed(good))["point/RESET"]
    assert (verdict.outcome.value, verdict.because) == (
        "not_run",
        "the points list says that it can only be written",
    )


async def test_seen_has_value_unit_and_raw_registers(good):
    verdict = (await surveyed(good))["point/GAS2"]
    assert verdict.seen == "20.9 %vol [00D1]"
    assert verdict.expected == "AT-2.reading at input register 12 (300013), int16"


async def test_refused_point_is_failed_in_words_and_its_neighbours_are_not(good):
    del good.memory[3][3]
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {
        "point/MODEL": "failed",
        "link/largest_read_registers": "failed",
    }
    because = verdicts["point/MODEL"].because
    assert "exception 02, illegal data address: the panel has nothing at" in because
    assert "shifted" not in because
    assert "sent 00" in aspect(verdicts["point/MODEL"], "answers").seen
    assert "the most that it granted is 3" in verdicts["link/largest_read_registers"].because


async def test_point_in_the_sister_table_is_a_hint_not_a_pass(good):
    good.memory[4] |= {3: good.memory[3].pop(3)}
    verdict = (await surveyed(good))["point/MODEL"]
    assert verdict.outcome.value == "failed"
    assert "answers as input register instead" in verdict.because


async def test_map_shifted_by_one_is_hinted_at_its_ends(good):
    good.memory[4] = {at + 1: word for at, word in good.memory[4].items() if at != 22}
    good.answer = good.plainly
    verdicts = await surveyed(good)
    assert verdicts["point/GAS1"].outcome.value == "failed"
    because = verdicts["point/HOURS"].because
    assert "address 24 answers: address shifted by one?" in because


async def test_block_that_is_refused_though_each_point_answers_fails(good):
    plain = good.answer

    def answer(pdu):
        if pdu[:1] == b"\x04" and pdu[4] > 2:
            return bytes((0x84, 2))
        return plain(pdu)

    good.answer = answer
    verdicts = await surveyed(good)
    assert verdicts["point/GAS1"].outcome.value == "failed"
    because = verdicts["point/GAS1"].because
    assert "each answers alone, but the block input registers 10 to 13 does not" in because


def zeros_site():
    parts = SITE["pace"] | {"largest_read_registers": 14}
    return site(map={"gaps": {INPUT: "zeros"}}, pace=parts)


def fill_gap(panel):
    panel.memory[4] |= dict.fromkeys(range(14, 20), 0)


async def test_good_panel_with_zeros_in_its_gaps_is_proven(good):
    fill_gap(good)
    assert wrong(await surveyed(good, zeros_site())) == {}


async def test_gap_that_a_block_closes_is_failed_with_the_shift(good):
    fill_gap(good)
    good.memory[4][21] = 0x0101
    good.memory[4][20] = 8
    good.memory[2][3] = 1
    plain = good.answer

    def answer(pdu):
        reply = plain(pdu)
        if pdu[0] == 4 and pdu[4] > 8 and reply[0] == 4:
            # the six registers of the gap left out, so that the rest comes six places early
            words = reply[2:]
            return reply[:2] + words[:8] + words[20:] + bytes(12)
        return reply

    good.answer = answer
    verdict = (await surveyed(good, zeros_site()))["point/FLAGS"]
    assert verdict.outcome.value == "failed"
    found = aspect(verdict, "alone and in a block")
    assert "3 times the block showed another value than input register 21 alone" in found.because
    assert "the block has it 6 early: a gap closed?" in found.because
    assert "received 00" in found.seen


async def test_value_that_changes_between_reads_is_no_difference(good):
    found = with_point("HOURS", type="uint16")
    plain = good.answer
    count = 0

    def answer(pdu):
        nonlocal count
        count += 1
        good.memory[4][23] = count // 3
        return plain(pdu)

    good.answer = answer
    assert wrong(await surveyed(good, found)) == {}


async def test_value_that_never_stands_still_is_inconclusive(good):
    found = with_point("HOURS", type="uint16")
    plain = good.answer
    count = 0

    def answer(pdu):
        nonlocal count
        count += 1
        good.memory[4][23] = count
        return plain(pdu)

    good.answer = answer
    assert wrong(await surveyed(good, found)) == {"point/HOURS": "inconclusive"}


@pytest.mark.parametrize(
    ("changes", "name", "because"),
    [
        ({4: {10: 0x0000, 11: 0x4248}}, "GAS1", "50 with order CDAB"),
        ({4: {10: 0x4842, 11: 0x0000}}, "GAS1", "50 with order BADC"),
        ({4: {10: 0x0000, 11: 0x4842}}, "GAS1", "50 with order DCBA"),
        ({4: {10: 0x4348, 11: 0x0000}}, "GAS1", "outside what the point can show"),
        ({4: {10: 0x7F80, 11: 0x0000}}, "GAS1", "outside what the point can show"),
        ({4: {12: 0x5F00}}, "GAS2", "9.5 with order BADC"),
        ({4: {12: 0x0209}}, "GAS2", "20.9 as bcd16"),
        ({4: {12: 0xFFFF - 5000}}, "GAS2", "outside what the point can show"),
        ({4: {20: 3}}, "STATE1", "no code of the points list"),
        ({4: {23: 0x00A1}}, "HOURS", "a digit above 9 in a BCD register"),
        ({3: {3: 4712}}, "MODEL", "differs from the points list by 1"),
        ({3: {3: 0x6712}}, "MODEL", "4711 with order BADC"),
        ({3: {4: 0x4E50}}, "NAME", "another text than the points list says"),
        ({3: {4: 0x4F4E, 5: 0x5452, 6: 0x0048}}, "NAME", "'NORTH' with order BADC"),
        ({3: {4: 0x4EC9}}, "NAME", "a byte outside ASCII"),
        ({3: {0: 0x41B0}}, "SET1", "differs from the site file by 2"),
        ({3: {0: 0x0000, 1: 0x41A0}}, "SET1", "20 with order CDAB"),
        ({3: {2: 196}}, "SET2", "differs from the site file by 0.1"),
        ({3: {2: 1950}}, "SET2", "19.5 with a scale of 0.01"),
    ],
)
async def test_wrong_value_is_failed_with_a_hint_and_its_registers(good, changes, name, because):
    for table, words in changes.items():
        good.memory[table] |= words
    if name == "GAS1":
        del good.memory[4][13]
    points = [p for p in POINTS if name != "GAS1" or p["name"] != "GAS1X"]
    verdicts = await surveyed(good, site(points=points))
    assert wrong(verdicts) == {f"point/{name}": "failed"}
    assert because in verdicts[f"point/{name}"].because
    first = next(iter(next(iter(changes.values())).values()))
    assert f"{first:04X}" in verdicts[f"point/{name}"].seen


async def test_setpoint_within_wire_resolution_is_proven(good):
    channels = [SITE["channels"][0], SITE["channels"][1] | {}]
    channels[1]["levels"] = {"A1": {"setpoint": 19.54, "direction": "falling"}}
    channels[0] = channels[0] | {"levels": {"A1": {"setpoint": 20.000003}}}
    assert wrong(await surveyed(good, site(channels=channels))) == {}


async def test_reading_that_decays_towards_zero_is_no_wrong_word_order(good):
    plain = good.answer
    begun = None

    def answer(pdu):
        nonlocal begun
        now = asyncio.get_running_loop().time()
        begun = begun or now
        scans = int((now - begun) / 0.02)
        words = struct.unpack(">HH", struct.pack(">f", 1e-6 * 0.8**scans))
        good.memory[4] |= {10: words[0], 11: words[1], 13: 0}
        return plain(pdu)

    good.answer = answer
    verdicts = await surveyed(good)
    assert verdicts["point/GAS1"].outcome.value == "proven"
    assert verdicts["point/GAS1"].because.count("it decays towards zero") == 1


async def test_wrong_word_order_that_jumps_is_no_decay(good):
    # the high word of 50.0 sent last; what varies is its low word
    points = [p for p in POINTS if p["name"] != "GAS1X"]
    del good.memory[4][13]
    plain = good.answer
    looks = 0

    def answer(pdu):
        nonlocal looks
        looks += pdu[:5] == bytes.fromhex("04 000A 0002")
        good.memory[4] |= {10: (0x2C00, 0x2C00, 0x1800, 0x0800)[min(looks, 3)], 11: 0x4248}
        return plain(pdu)

    good.answer = answer
    verdicts = await surveyed(good, site(points=points))
    assert wrong(verdicts) == {"point/GAS1": "failed"}
    assert "with order CDAB" in verdicts["point/GAS1"].because


async def test_sentinel_with_its_fault_flag_is_right(good):
    good.memory[4][12] = 0x7FFF
    good.memory[2][0] = 1
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {}
    assert "shows the fault sentinel" in verdicts["point/GAS2"].because


async def test_sentinel_without_its_fault_flag_fails(good):
    good.memory[4][12] = 0x7FFF
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"point/GAS2": "failed"}
    assert "yet the channel's fault is not shown" in verdicts["point/GAS2"].because


async def test_sentinel_whose_fault_flag_comes_a_moment_later_is_right(good):
    good.memory[4][12] = 0x7FFF
    plain = good.answer
    looks = 0

    def answer(pdu):
        nonlocal looks
        looks += pdu[:5] == bytes.fromhex("04 000C 0001")
        good.memory[2][0] = int(looks > 1)
        return plain(pdu)

    good.answer = answer
    assert wrong(await surveyed(good)) == {}


async def test_nan_without_any_fault_flag_in_the_map_is_inconclusive(good):
    good.memory[4] |= {10: 0x7FC0, 11: 0}
    points = [p for p in POINTS if p["name"] not in ("STATE1", "FLAGS", "GAS1X")]
    for at in (13, 20, 21):
        del good.memory[4][at]
    verdicts = await surveyed(good, site(points=points))
    assert wrong(verdicts) == {"point/GAS1": "inconclusive"}
    assert "no fault flag of its channel" in verdicts["point/GAS1"].because


async def test_flags_that_show_the_same_and_differ_fail_both(good):
    good.memory[2][3] = 1
    verdicts = await surveyed(good)
    assert wrong(verdicts)["point/A1BIT"] == "failed"
    assert wrong(verdicts)["point/FLAGS"] == "failed"
    found = aspect(verdicts["point/A1BIT"], "agrees with FLAGS")
    assert "both show the same AT-1.A1, yet for" in found.because
    assert found.seen == "FLAGS shows AT-1.A1 False; A1BIT shows AT-1.A1 True"


async def test_flag_that_follows_within_a_scan_agrees(good):
    plain = good.answer
    looks = 0

    def answer(pdu):
        nonlocal looks
        looks += pdu[:5] == bytes.fromhex("02 0003 0001")
        late = looks == 1
        good.memory[2][3] = int(not late)
        good.memory[4] |= {20: 1, 21: 1}
        return plain(pdu)

    good.answer = answer
    assert "point/A1BIT" not in wrong(await surveyed(good))


async def test_readings_of_one_channel_that_differ_fail_both(good):
    good.memory[4][13] = 510
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"point/GAS1": "failed", "point/GAS1X": "failed"}


async def test_readings_of_one_channel_agree_within_rounding(good):
    good.memory[4] |= {10: 0x4248, 11: 0x3127, 13: 500}  # 50.048 and 50.0
    assert wrong(await surveyed(good)) == {}


@pytest.mark.parametrize(("active", "coil", "right"), [(0, 1, True), (1, 0, True), (1, 1, False)])
async def test_coil_of_a_fail_safe_output_is_on_when_it_does_not_act(good, active, coil, right):
    good.memory[2] |= {1: active, 2: coil}
    found = wrong(await surveyed(good))
    assert found == ({} if right else {"point/K1": "failed", "point/K1COIL": "failed"})


async def test_readings_of_one_channel_agree_within_its_noise(good):
    good.memory[4][13] = 505
    channels = [SITE["channels"][0] | {"noise": 0.3}, SITE["channels"][1]]
    assert wrong(await surveyed(good, site(channels=channels))) == {}


async def test_state_may_hide_flags_of_lower_rank(good):
    good.memory[4] |= {20: 8, 21: 0x0101}
    good.memory[2][3] = 1
    assert wrong(await surveyed(good)) == {}


async def test_normal_state_beside_an_alarm_flag_fails(good):
    good.memory[4][21] = 0x0001
    good.memory[2][3] = 1
    found = wrong(await surveyed(good))
    assert found == {"point/STATE1": "failed", "point/FLAGS": "failed"}


async def test_state_without_its_flag_fails(good):
    good.memory[4] |= {20: 1}
    found = wrong(await surveyed(good))
    assert found == {"point/STATE1": "failed", "point/FLAGS": "failed"}


@pytest.mark.parametrize(
    ("address", "name"),
    [
        (9, "input register 9, before the first"),
        (24, "input register 24, after the last"),
        (14, "input register 14, in a gap"),
    ],
)
async def test_address_outside_the_map_that_answers_is_failed(good, address, name):
    good.memory[4][address] = 0
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/unmapped": "failed"}
    found = aspect(verdicts["link/unmapped"], name)
    assert found.because == "answered, though it must be refused"
    assert found.seen


async def test_wrong_exception_outside_the_map_is_failed(good):
    plain = good.answer

    def answer(pdu):
        reply = plain(pdu)
        return reply[:1] + b"\x04" if reply[0] > 0x80 and reply[1] == 2 else reply

    good.answer = answer
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/unmapped": "failed"}
    assert "exception 04" in verdicts["link/unmapped"].because


async def test_read_across_the_end_that_is_granted_is_failed(good):
    plain = good.answer

    def answer(pdu):
        if pdu[:5] == bytes.fromhex("04 0017 0002"):
            return bytes.fromhex("04 04 0042 0000")
        return plain(pdu)

    good.answer = answer
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/unmapped": "failed"}
    assert "across the end: answered" in verdicts["link/unmapped"].because


async def test_read_across_a_gap_that_is_granted_is_failed(good):
    found = site(pace=SITE["pace"] | {"largest_read_registers": 8})
    plain = good.answer

    def answer(pdu):
        if pdu[:5] == bytes.fromhex("04 000D 0008"):
            return bytes((4, 16)) + bytes(16)
        return plain(pdu)

    assert (await surveyed(good, found))["link/unmapped"].outcome.value == "proven"
    good.answer = answer
    verdict = (await surveyed(good, found))["link/unmapped"]
    assert verdict.outcome.value == "failed"
    assert "input registers 13 to 20, across a gap: answered" in verdict.because


async def test_gap_that_must_read_as_zero_and_does_not_is_failed(good):
    fill_gap(good)
    good.memory[4][14] = 7
    verdicts = await surveyed(good, zeros_site())
    assert wrong(verdicts) == {"link/unmapped": "failed"}
    assert "something where the map has nothing" in verdicts["link/unmapped"].because


async def test_gap_that_must_read_as_zero_and_is_refused_is_failed(good):
    verdicts = await surveyed(good, zeros_site())
    assert (
        aspect(verdicts["link/unmapped"], "input register 14, in a gap").outcome.value == "failed"
    )


async def test_address_checked_before_quantity_is_noted_not_failed(good):
    plain = good.answer

    def answer(pdu):
        reply = plain(pdu)
        if pdu[0] in (1, 2, 3, 4) and pdu[3:5] in (b"\x00\x00", b"\x00\x7e", b"\x07\xd1"):
            return bytes((pdu[0] | 0x80, 2))
        return reply

    good.answer = answer
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {}
    assert "figure 9 of V1.1b3" in verdicts["link/exceptions"].because


@pytest.mark.parametrize(
    ("asked", "reply", "because"),
    [
        ("03 0000 0000", "03 00", "0 x holding register: answered, though it must be refused"),
        ("03 0000 007E", "83 04", "126 x holding register: exception 04"),
        ("63 0000 0001", "E3 02", "function 99, which nobody has: exception 02"),
        ("63 0000 0001", "63 00", "function 99, which nobody has: answered"),
        ("63 0000 0001", "80 01", "wrong function"),
    ],
)
async def test_wrong_refusal_of_an_impossible_request_is_failed(good, asked, reply, because):
    plain = good.answer
    asked, reply = bytes.fromhex(asked), bytes.fromhex(reply)
    good.answer = lambda pdu: reply if pdu == asked else plain(pdu)
    verdicts = await surveyed(good)
    assert verdicts["link/exceptions"].outcome.value == "failed"
    assert because in verdicts["link/exceptions"].because


async def test_largest_read_that_is_refused_is_failed_with_the_most_granted(good):
    plain = good.answer

    def answer(pdu):
        if pdu[0] in (3, 4) and pdu[4] > 5:
            return bytes((pdu[0] | 0x80, 3))
        return plain(pdu)

    good.answer = answer
    verdicts = await surveyed(good)
    assert "the most that it granted is 5" in verdicts["link/largest_read_registers"].because


async def test_largest_read_beyond_the_map_is_not_run(good):
    found = site(pace=SITE["pace"] | {"largest_read_registers": 8})
    verdict = (await surveyed(good, found))["link/largest_read_registers"]
    assert verdict.outcome.value == "not_run"
    assert "holding register: the map has no more than 7 in a row" in verdict.because


async def test_largest_read_of_bits_is_tried_where_the_map_is_long_enough(good):
    pace = SITE["pace"] | {"largest_read_bits": 4}
    verdict = (await surveyed(good, site(pace=pace)))["link/largest_read_bits"]
    assert verdict.outcome.value == "proven"
    assert aspect(verdict, "discrete input").outcome.value == "proven"
    assert aspect(verdict, "coil").outcome.value == "not_run"


async def test_point_wider_than_the_largest_read_is_not_run(good):
    pace = SITE["pace"] | {"largest_read_registers": 2}
    verdict = (await surveyed(good, site(pace=pace)))["point/NAME"]
    assert verdict.outcome.value == "not_run"
    assert verdict.because == "it takes 3 addresses, and one read may ask for 2 at most"


async def test_frozen_heartbeat_is_failed(good):
    good.answer = good.plainly
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/heartbeat": "failed"}
    assert "it stands still" in verdicts["link/heartbeat"].because


@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
async def test_heartbeat_that_beats_too_rarely_is_failed(good, phase):
    def answer(pdu):
        now_s = asyncio.get_running_loop().time() - begun_s
        good.memory[4][22] = int(now_s / 0.5 + phase) & 0xFFFF
        return good.plainly(pdu)

    begun_s = asyncio.get_running_loop().time()
    good.answer = answer
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/heartbeat": "failed"}
    because = verdicts["link/heartbeat"].because
    assert "stood still for" in because or "it stands still" in because


async def test_heartbeat_bit_that_stands_still_beside_moving_bits_is_failed(good):
    def answer(pdu):
        good.memory[4][22] = int(asyncio.get_running_loop().time() / 0.05) << 1 & 0xFFFE
        return good.plainly(pdu)

    good.answer = answer
    found = with_point("BEAT", type="bit in word", bit=0)
    assert wrong(await surveyed(good, found)) == {"link/heartbeat": "failed"}


async def test_heartbeat_that_is_refused_is_failed(good):
    found = with_point("BEAT", address=30)
    verdicts = await surveyed(good, found)
    assert wrong(verdicts)["link/heartbeat"] == "failed"
    assert "exception 02" in verdicts["link/heartbeat"].because


async def test_without_a_heartbeat_liveness_is_not_verified(good):
    found = site(points=[p for p in POINTS if p["name"] not in ("BEAT", "HOURS")])
    verdicts = await surveyed(good, found)
    assert verdicts["link/heartbeat"].outcome.value == "not_run"
    assert "liveness cannot be verified" in verdicts["link/heartbeat"].because


async def test_frozen_heartbeat_of_unknown_period_is_inconclusive(good, monkeypatch):
    monkeypatch.setattr("gaswitness_probe.survey_panel.PERIOD_UNKNOWN_S", 0.05)
    good.answer = good.plainly
    timing = {k: v for k, v in SITE["timing"].items() if k != "heartbeat_s"}
    assert wrong(await surveyed(good, site(timing=timing))) == {"link/heartbeat": "inconclusive"}


async def test_other_identification_is_failed(good):
    good.identity[2] = b"0.9"
    verdicts = await surveyed(good)
    assert wrong(verdicts) == {"link/identification": "failed"}
    assert verdicts["link/identification"].because == "revision: the panel says '0.9'"


async def test_identification_stated_but_not_there_is_failed(good):
    good.identity = None
    assert wrong(await surveyed(good)) == {"link/identification": "failed"}


async def test_no_identification_stated_and_none_there_is_not_run(good):
    good.identity = None
    verdicts = await surveyed(good, site(panel={"tag": "GP-1"}))
    assert wrong(verdicts) == {"link/identification": "not_run"}


async def test_identification_in_several_replies_is_put_together(good):
    plain = good.answer

    def answer(pdu):
        if pdu[:3] == bytes.fromhex("2B 0E 01"):
            texts = [b"Example Works", b"GP", b"1.0"]
            more = bytes((0xFF, pdu[3] + 1) if pdu[3] < 2 else (0, 0))
            head = bytes.fromhex("2B 0E 01 01") + more
            return head + bytes((1, pdu[3], len(texts[pdu[3]]))) + texts[pdu[3]]
        return plain(pdu)

    good.answer = answer
    assert wrong(await surveyed(good)) == {}


async def test_progress_counts_up_to_the_end(good):
    told = []
    await surveyed(good, progress=told.append)
    assert told[-1].done == told[-1].of
    assert [t.done for t in told] == sorted(t.done for t in told)
