"""Each link fault alone, byte for byte, and the plan that holds them.

The Modbus/TCP frames are those of the Messaging guide's header (V1.0b clause 3.1.3); the CRC of the
RTU frames was worked out with the table of V1.02 appendix B by an unrelated library (pymodbus).
"""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.outgoing import Admission, Finished, Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import GasTo, Step
from gaswitness_sitefile.link_fault import KINDS
from gaswitness_sitefile.link_fault_text import parse_link_fault

ASKED = bytes.fromhex("0007 0000 0006 01 03 0000 0002")
ANSWERED = bytes.fromhex("0007 0000 0007 01 03 04 1122 3344")
RTU_ASKED = bytes.fromhex("01 03 0000 0002 C40B")
RTU_ANSWERED = bytes.fromhex("01 03 04 1122 3344 4BC6")


def mbap(at_s=0.0, **more):
    facts = {"framing": "mbap", "connection": 1, "unit": 1, "request": ASKED, "response": ANSWERED}
    return Finished(**{**facts, **more}, at_s=at_s)


def rtu(at_s=0.0, **more):
    return mbap(at_s, **{"framing": "rtu", "request": RTU_ASKED, "response": RTU_ANSWERED, **more})


def plan(*texts, seed=0, **more):
    made = FaultPlan(seed, **more)
    for text in texts:
        made.begin(parse_link_fault(text), 0.0)
    return made


def sent(finished, *texts):
    """The bytes that go out at once, all in one."""
    (only,) = plan(*texts).shape(finished)
    assert only.delay_s == 0.0
    return only.data


def test_the_frames_of_these_tests_have_the_right_crc():
    for frame in (RTU_ASKED, RTU_ANSWERED):
        assert int.from_bytes(frame[-2:], "big") == FramerRTU.compute_CRC(frame[:-2])


def test_without_faults_bytes_pass_unchanged_and_silence_stays_silence():
    assert plan().shape(mbap()) == [Outgoing(0.0, ANSWERED)]
    assert plan().shape(mbap(response=None)) == []


@pytest.mark.parametrize(
    ("fault", "data"),
    [
        ("longer 2 bytes", None),
        ("shorter 2 bytes", "0007 0000 0005 01 03 04 1122"),
        ("truncated 3 bytes", "0007 0000 0007 01 03 04 11"),
        ("wrong-unit", "0007 0000 0007 02 03 04 1122 3344"),
        ("wrong-unit 9", "0007 0000 0007 09 03 04 1122 3344"),
        ("wrong-function", "0007 0000 0007 01 04 04 1122 3344"),
        ("wrong-function 16", "0007 0000 0007 01 10 04 1122 3344"),
        ("wrong-transaction", "0008 0000 0007 01 03 04 1122 3344"),
        ("wrong-transaction 0", "0000 0000 0007 01 03 04 1122 3344"),
        ("wrong-protocol", "0007 0001 0007 01 03 04 1122 3344"),
        ("wrong-length", "0007 0000 0008 01 03 04 1122 3344"),
        ("wrong-length 300", "0007 0000 012C 01 03 04 1122 3344"),
        ("exception 0B", "0007 0000 0003 01 83 0B"),
        ("exception 01 functionless", "0007 0000 0003 01 80 01"),
        ("busy", "0007 0000 0003 01 83 06"),
        ("read-limit 1 registers", "0007 0000 0003 01 83 03"),
        ("read-limit 1 registers 02", "0007 0000 0003 01 83 02"),
        ("read-limit 2 registers", "0007 0000 0007 01 03 04 1122 3344"),
        ("wrong-crc", "0007 0000 0007 01 03 04 1122 3344"),
    ],
)
def test_a_modbus_tcp_answer_is_changed_byte_for_byte(fault, data):
    found = sent(mbap(), fault)
    if data is None:
        assert found[:13] == bytes.fromhex("0007 0000 0009 01 03 04 1122 3344")
        assert len(found) == 15
    else:
        assert found == bytes.fromhex(data)


@pytest.mark.parametrize(
    ("fault", "body"),
    [
        ("shorter 2 bytes", "01 03 04 1122"),
        ("wrong-unit", "02 03 04 1122 3344"),
        ("wrong-function", "01 04 04 1122 3344"),
        ("exception 0A", "01 83 0A"),
        ("exception 01 functionless", "01 80 01"),
        ("busy", "01 83 06"),
        ("read-limit 1 registers", "01 83 03"),
        ("wrong-transaction", "01 03 04 1122 3344"),
        ("wrong-protocol", "01 03 04 1122 3344"),
        ("wrong-length", "01 03 04 1122 3344"),
    ],
)
def test_an_rtu_answer_is_changed_and_its_crc_made_right_again(fault, body):
    found = sent(rtu(), fault)
    assert found[:-2] == bytes.fromhex(body)
    assert int.from_bytes(found[-2:], "big") == FramerRTU.compute_CRC(found[:-2])


def test_a_wrong_crc_spoils_the_crc_alone():
    found = sent(rtu(), "wrong-crc")
    assert found[:-2] == RTU_ANSWERED[:-2]
    assert found[-2:] != RTU_ANSWERED[-2:]


@pytest.mark.parametrize("bits", [1, 2, 3])
@pytest.mark.parametrize("finished", [mbap(), rtu()])
def test_just_so_many_bits_are_flipped(bits, finished):
    found = sent(finished, f"flipped {bits} bits")
    assert len(found) == len(finished.response)
    differ = int.from_bytes(found, "big") ^ int.from_bytes(finished.response, "big")
    assert differ.bit_count() == bits


def test_stray_bytes_stand_before_between_or_after():
    assert sent(mbap(), "stray 3 bytes before")[3:] == ANSWERED
    assert sent(mbap(), "stray 3 bytes after")[:-3] == ANSWERED
    found = sent(mbap(), "stray 3 bytes between")
    assert len(found) == len(ANSWERED) + 3
    assert any(found[:at] + found[at + 3 :] == ANSWERED for at in range(1, len(ANSWERED)))


@pytest.mark.parametrize("fault", ["silent", "read-limit 1 registers silent", "half-open"])
def test_some_faults_are_silence(fault):
    assert plan(fault).shape(mbap()) == []


def test_an_echo_comes_before_the_answer_and_without_one():
    made = plan("echo")
    assert made.shape(rtu()) == [Outgoing(0.0, RTU_ASKED), Outgoing(0.0, RTU_ANSWERED)]
    assert made.shape(rtu(1.0, response=None)) == [Outgoing(0.0, RTU_ASKED)]


def test_a_late_answer_is_as_late_as_was_said():
    assert plan("late 1.5 s").shape(mbap()) == [Outgoing(1.5, ANSWERED)]
    spread = [plan("late 0.2..1.5 s", seed=n).shape(mbap())[0].delay_s for n in range(300)]
    assert 0.2 <= min(spread) < 0.25
    assert 1.4 < max(spread) <= 1.5


def test_a_heavy_tail_has_its_median_and_one_in_a_hundred_above_ten_of_it():
    late = sorted(plan("late about 0.1 s", seed=n).shape(mbap())[0].delay_s for n in range(2000))
    assert 0.09 < late[1000] < 0.11
    assert 5 < sum(one > 1.0 for one in late) < 40  # log-normal: 1 - Phi(ln 10) = 1.06 %
    capped = [plan("late about 0.1..0.3 s", seed=n).shape(mbap())[0].delay_s for n in range(300)]
    assert max(capped) == 0.3


def test_bytes_one_by_one_and_pieces_are_the_answer_so_far_apart():
    pieces = plan("bytewise 10 ms").shape(mbap())
    assert [one.data for one in pieces] == [bytes((byte,)) for byte in ANSWERED]
    assert [one.delay_s for one in pieces] == pytest.approx([0.01 * n for n in range(13)])
    pieces = plan("split 3 pieces 50 ms").shape(mbap())
    assert b"".join(one.data for one in pieces) == ANSWERED
    assert [one.delay_s for one in pieces] == pytest.approx([0.0, 0.05, 0.1])
    assert all(one.data for one in pieces)


def test_merged_answers_go_out_in_one_piece():
    made = plan("merged")
    second = bytes.fromhex("0008 0000 0003 01 83 02")
    assert made.shape(mbap()) == []
    assert made.shape(mbap(1.0, response=second)) == [Outgoing(0.0, ANSWERED + second)]


def test_what_was_held_back_goes_out_before_the_next_answer_when_that_is_over():
    made = plan("merged")
    made.shape(mbap())
    assert made.clear() == 1
    second = bytes.fromhex("0008 0000 0003 01 83 02")
    found = made.shape(mbap(1.0, response=second))
    assert [one.data for one in found] == [ANSWERED, second]


def test_the_answer_of_the_previous_request_has_its_old_transaction_or_a_new_one():
    second = mbap(
        1.0,
        request=bytes.fromhex("0008 0000 0006 01 03 0010 0002"),
        response=bytes.fromhex("0008 0000 0007 01 03 04 5566 7788"),
    )
    made = plan("previous")
    assert made.shape(mbap()) == []
    assert made.shape(second) == [Outgoing(0.0, ANSWERED)]
    made = plan("previous relabelled")
    made.shape(mbap())
    (found,) = made.shape(second)
    assert found.data == bytes.fromhex("0008 0000 0007 01 03 04 1122 3344")


def test_an_answer_comes_twice():
    assert plan("twice").shape(mbap()) == [Outgoing(0.0, ANSWERED)] * 2
    assert plan("twice 0.3 s").shape(mbap()) == [Outgoing(0.0, ANSWERED), Outgoing(0.3, ANSWERED)]


@pytest.mark.parametrize(("fault", "end"), [("close", "close"), ("reset", "reset")])
def test_a_connection_ends_in_place_of_the_answer_after_it_or_in_its_midst(fault, end):
    last = Outgoing(0.0, b"", **{end: True})
    assert plan(fault).shape(mbap()) == [last]
    assert plan(f"{fault} after").shape(mbap()) == [Outgoing(0.0, ANSWERED), last]
    assert plan(f"{fault} midway").shape(mbap()) == [Outgoing(0.0, ANSWERED[:6]), last]


def test_a_half_open_connection_stays_dead_and_another_lives():
    made = plan("half-open, 1 times")
    assert made.shape(mbap()) == []
    assert made.shape(mbap(9.0)) == []
    assert made.shape(mbap(9.0, connection=2)) == [Outgoing(0.0, ANSWERED)]
    made.gone(1)
    assert made.shape(mbap(10.0)) == [Outgoing(0.0, ANSWERED)]


def test_one_connection_more_than_the_limit_is_refused_or_takes_the_oldest_place():
    assert plan().connecting(9, 100) is Admission.ACCEPT
    assert plan("connection-limit 2").connecting(3, 1) is Admission.ACCEPT
    assert plan("connection-limit 2").connecting(3, 2) is Admission.REFUSE
    assert plan("connection-limit 2 oldest").connecting(3, 2) is Admission.DROP_OLDEST
    assert plan("connection-limit 0 oldest").connecting(1, 0) is Admission.REFUSE


def test_the_shortest_idle_limit_counts():
    assert plan().idle_limit_s is None
    assert plan("idle-limit 30 s", "idle-limit 5 s").idle_limit_s == 5.0


def test_a_limit_of_connections_ends_with_its_time():
    now_s = 0.0
    made = plan("connection-limit 1, for 10 s", now=lambda: now_s)
    assert made.connecting(2, 1) is Admission.REFUSE
    now_s = 10.0
    assert made.connecting(2, 1) is Admission.ACCEPT


def test_a_slow_device_leaves_unanswered_what_comes_too_soon_after_its_last_answer():
    made = plan("needs-gap 0.1 s")
    answered = [bool(made.shape(mbap(at_s))) for at_s in (0.0, 0.05, 0.09, 0.11, 0.15, 0.3)]
    assert answered == [True, False, False, True, False, True]


def test_a_gap_is_of_the_link_s_seconds_also_when_the_panel_is_played_faster():
    made = plan("needs-gap 0.1 s", speed=10.0)
    assert [bool(made.shape(mbap(at_s))) for at_s in (0.0, 0.5, 1.1)] == [True, False, True]


def test_nothing_overtakes_a_late_answer_on_its_connection_and_others_go_on():
    made = plan("late 2 s, 1 times")
    assert made.shape(mbap()) == [Outgoing(2.0, ANSWERED)]
    assert made.shape(mbap(1.5)) == [Outgoing(0.5, ANSWERED)]
    assert made.shape(mbap(1.5, connection=2)) == [Outgoing(0.0, ANSWERED)]
    assert made.shape(mbap(2.5)) == [Outgoing(0.0, ANSWERED)]


@pytest.mark.parametrize(
    ("scope", "other"),
    [
        ("unit 1", {"unit": 2}),
        ("connection 1", {"connection": 2}),
        ("function 03", {"request": ASKED[:7] + b"\4" + ASKED[8:]}),
    ],
)
def test_a_fault_meets_its_unit_connection_or_function_alone(scope, other):
    made = plan(f"silent, {scope}")
    assert made.shape(mbap()) == []
    assert made.shape(mbap(**other)) == [Outgoing(0.0, ANSWERED)]


def test_a_fault_lasts_so_many_answers_or_seconds():
    made = plan("silent, 2 times")
    assert [bool(made.shape(mbap(at_s))) for at_s in range(4)] == [False, False, True, True]
    assert made.faults() == ()
    made = plan("silent, for 3 s")
    assert [bool(made.shape(mbap(at_s))) for at_s in (0.0, 2.9, 3.0)] == [False, False, True]


def test_every_twentieth_answer_is_met():
    made = plan("silent, every 20th")
    assert [n for n in range(1, 61) if not made.shape(mbap(float(n)))] == [20, 40, 60]


def test_a_share_of_answers_is_met_by_lot_the_same_for_the_same_seed():
    def lost(seed):
        made = plan("silent, 5 %", seed=seed)
        return [n for n in range(2000) if not made.shape(mbap(float(n)))]

    assert 70 < len(lost(1)) < 130
    assert lost(1) == lost(1) != lost(2)


def test_another_fault_does_not_change_whom_the_first_one_meets():
    def lost(*more):
        made = plan("silent, 5 %, function 03", *more)
        return [n for n in range(500) if not made.shape(mbap(float(n)))]

    assert lost() == lost("late 0.1..0.2 s, 50 %", "flipped, 10 %")


def test_clearing_ends_one_kind_or_all():
    made = plan("late 1 s", "silent, unit 9", "late 2 s, unit 3")
    assert made.clear(KINDS["late"]) == 2
    assert [one.name for one in made.faults()] == ["silent"]
    assert made.clear() == 1
    assert made.faults() == ()


def test_faults_act_together_in_the_order_of_the_way_out():
    found = plan("late 1 s", "twice", "truncated 1 byte", "wrong-unit 9").shape(mbap())
    assert found == [Outgoing(1.0, bytes.fromhex("0007 0000 0007 09 03 04 1122 33"))] * 2


@pytest.fixture
def panel(make_site, a_channel, a_point):
    """One reading as float32 at 0, as int16 at 2, and a fact at coil 0; scanned every second."""
    points = [
        a_point("reading", "holding register", 0, "float32", "AT-1.reading"),
        a_point("short", "holding register", 2, "int16", "AT-1.reading"),
        a_point("A1", "coil", 0, "bit", "AT-1.A1"),
    ]
    return VirtualPanel(make_site(points=points))


def read(panel, made, at_s, request="03 0000 0003"):
    asked = bytes.fromhex(request)
    pdu = VirtualDevice(panel).answer(1, asked, at_s)
    head = struct.pack(">HHH", 7, 0, len(pdu) + 1) + b"\1"
    asked = bytes.fromhex("0007 0000 0006 01") + asked
    (found,) = made.shape(mbap(at_s, request=asked, response=head + pdu))
    return found.data[9:].hex()


def test_a_stale_image_is_that_of_the_fault_s_begin(panel):
    made = FaultPlan(panels={1: panel})
    panel.apply(GasTo("AT-1", Step(50.0)), 0.0)
    made.begin(parse_link_fault("stale, for 10 s"), 5.0)
    panel.apply(GasTo("AT-1", Step(0.0)), 6.0)
    assert read(panel, made, 8.0) == "424800000032"
    assert read(panel, made, 8.0, "01 0000 0001") == "01"
    assert read(panel, made, 16.0) == "000000000000"
    assert read(panel, made, 16.0, "01 0000 0001") == "00"


def test_a_torn_value_has_its_first_register_new_and_its_second_old(panel):
    made = FaultPlan(panels={1: panel})
    panel.apply(GasTo("AT-1", Step(20.3)), 0.0)
    made.begin(parse_link_fault("torn"), 0.0)
    assert read(panel, made, 3.0)[:4] == "41a2"
    panel.apply(GasTo("AT-1", Step(50.7)), 4.0)
    before = "6666"  # 20.3 is 41A2 6666, 50.7 is 424A CCCD (IEEE 754 binary32)
    assert read(panel, made, 6.0) == "424a" + before + "0033"
    assert read(panel, made, 8.0) == "424acccd0033"


def test_a_stale_or_torn_image_of_no_panel_changes_nothing():
    assert sent(mbap(), "stale", "torn") == ANSWERED


ANY = st.sampled_from([ANSWERED, RTU_ANSWERED, None]) | st.binary(max_size=300)


@settings(max_examples=200)
@given(
    kinds=st.lists(st.sampled_from(list(KINDS)), max_size=6),
    frames=st.lists(
        st.tuples(st.sampled_from(["mbap", "rtu"]), ANY, ANY, st.integers(1, 3)), max_size=8
    ),
    seed=st.integers(0, 1000),
)
def test_a_plan_never_raises_and_never_sends_back_in_time(kinds, frames, seed):
    made = plan(*kinds, seed=seed)
    at_s = 0.0
    for framing, request, response, connection in frames:
        at_s += 0.03
        finished = Finished(framing, connection, 1, request or b"", response, at_s)
        delays = [one.delay_s for one in made.shape(finished)]
        assert delays == sorted(delays)
        assert all(delay_s >= 0 for delay_s in delays)


@given(st.binary(max_size=300), st.sampled_from(["mbap", "rtu"]))
def test_a_plan_whose_faults_are_over_passes_any_bytes_unchanged(data, framing):
    made = plan(*KINDS)
    made.clear()
    finished = Finished(framing, 1, 1, data, data, 5.0)
    assert made.shape(finished) == [Outgoing(0.0, data)]


def test_a_plan_is_at_rest_until_a_fault_begins_and_once_what_was_late_has_gone():
    made = FaultPlan()
    assert made.at_rest
    made.begin(parse_link_fault("late 2 s, 1 times"), 0.0)
    assert not made.at_rest
    made.shape(mbap())
    made.shape(mbap(1.0))
    assert not made.at_rest
    made.shape(mbap(3.0))
    assert made.at_rest


def test_pieces_that_wait_for_a_late_answer_keep_apart():
    made = plan("late 2 s, 1 times")
    made.shape(mbap())
    made.begin(parse_link_fault("split 2 pieces 50 ms"), 1.0)
    assert [one.delay_s for one in made.shape(mbap(1.0))] == pytest.approx([1.0, 1.05])


@pytest.mark.parametrize("kind", [None, KINDS["half-open"]])
def test_clearing_half_open_brings_the_connection_back(kind):
    made = plan("half-open")
    assert made.shape(mbap()) == []
    made.clear(kind)
    assert made.shape(mbap(1.0)) == [Outgoing(0.0, ANSWERED)]


@pytest.mark.parametrize("unit", [0, 255])
def test_a_stale_image_is_seen_too_by_who_asks_the_panel_without_its_unit_id(panel, unit):
    made = FaultPlan(panels={7: panel})
    panel.advance(2.0)
    made.begin(parse_link_fault("stale"), 2.0)
    asked, answered = ASKED[:6] + bytes((unit,)) + ASKED[7:], ANSWERED
    (found,) = made.shape(mbap(3.0, unit=unit, request=asked, response=answered))
    assert found.data.hex(" ").endswith("03 04 00 00 00 00")
