"""Units on a serial line: MODBUS over Serial Line V1.02 clauses 2.1, 2.2; V1.1b3 clause 6."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.diagnostics import event_counter, event_log
from gaswitness_simulator.outgoing import Outgoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.rtu import rtu_framed
from gaswitness_simulator.rtu_line import RtuLine
from gaswitness_simulator.rtu_session import RtuSession
from gaswitness_simulator.stimulus import InputSet, PanelFault, Power
from gaswitness_simulator.units import Units


class Talk:
    """A line with its units, spoken to in hex."""

    def __init__(self, devices):
        self.line = RtuLine(Units(devices))
        self.session = RtuSession(self.line, stale_s=0.1)
        self.devices = {device.unit: device for device in devices}
        self.at_s = 10.0

    def raw(self, text):
        sent = self.session.receive(bytes.fromhex(text), self.at_s)
        sent += self.session.silence(self.at_s, 0.02)
        sent += self.session.silence(self.at_s, 0.1)
        return [out.data.hex(" ").upper() for out in sent]

    def ask(self, unit, pdu):
        """The answer's PDU; None is silence."""
        sent = self.session.receive(rtu_framed(unit, bytes.fromhex(pdu)), self.at_s)
        sent += self.session.silence(self.at_s, 0.02)
        assert len(sent) <= 1
        if not sent:
            return None
        assert sent[0].data[0] == unit
        return sent[0].data[1:-2].hex(" ").upper()

    def count(self, unit, number):
        return int(self.ask(unit, f"08 00 {number:02X} 0000").replace(" ", "")[6:], 16)

    def power(self, unit, *, on):
        self.devices[unit].panel.apply(Power(on=on), self.at_s)
        self.at_s += 5.0


@pytest.fixture
def talk(make_site, a_point):
    def build(*units):
        def word(name, address, **more):
            return a_point(name, "holding register", address, "uint16", "spare", **more)

        points = [
            *(word(f"w{n}", n, access="rw") for n in range(1, 5)),
            *(
                a_point(f"r{n}", "holding register", 0x6B + n, "uint16", "constant", value=value)
                for n, value in enumerate((555, 0, 100))
            ),
            a_point("input", "input register", 8, "uint16", "constant", value=10),
            a_point("coil", "coil", 0xAC, "bit", "spare", access="rw"),
            a_point("di", "discrete input", 0, "bit", "DI-1.active"),
        ]
        return Talk(
            [
                VirtualDevice(
                    VirtualPanel(make_site(points=points, inputs=[{"tag": "DI-1"}])), unit=unit
                )
                for unit in units or (1,)
            ]
        )

    return build


# V1.1b3 clauses 6.3 to 6.8 and 7; CRCs computed by crccheck 1.3.1.
@pytest.mark.parametrize(
    ("request_", "response"),
    [
        ("01 04 00 08 00 01 B0 08", "01 04 02 00 0A 39 37"),
        ("01 05 00 AC FF 00 4C 1B", "01 05 00 AC FF 00 4C 1B"),
        ("01 08 00 00 A5 37 DA 8D", "01 08 00 00 A5 37 DA 8D"),
        ("11 06 00 01 00 03 9A 9B", "11 06 00 01 00 03 9A 9B"),
        ("01 03 00 02 00 01 25 CA", "01 03 02 00 00 B8 44"),
        ("11 03 00 00 00 01 86 9A", "11 83 02 C1 34"),
    ],
)
def test_examples_of_the_specification_byte_for_byte(talk, request_, response):
    assert talk(1, 17).raw(request_) == [response]


def test_three_registers_of_the_specification_are_read_from_either_unit(talk):
    line = talk(1, 17)
    assert line.raw("11 03 00 6B 00 03 76 87") == ["11 03 06 02 2B 00 00 00 64 C8 BA"]
    assert line.ask(1, "03 006B 0003") == "03 06 02 2B 00 00 00 64"


def test_the_last_unit_of_a_line_answers(talk):
    assert talk(247).ask(247, "03 006B 0001") == "03 02 02 2B"


@pytest.mark.parametrize("unit", [2, 248, 250, 255])
def test_units_that_are_not_there_and_reserved_ones_are_silent(talk, unit):
    assert talk(1).ask(unit, "03 006B 0001") is None


@pytest.mark.parametrize("unit", [0, 248, 255])
def test_no_panel_can_have_a_unit_id_that_lines_do_not_give(make_site, unit):
    with pytest.raises(ValueError, match=f"unit id {unit} on a serial line"):
        RtuLine(Units([VirtualDevice(VirtualPanel(make_site()), unit=unit)]))


def test_a_broadcast_write_reaches_every_unit_and_nobody_answers(talk):
    line = talk(1, 2)
    assert line.ask(0, "06 0001 0007") is None
    assert line.ask(0, "10 0002 0002 04 0008 0009") is None
    assert [line.ask(unit, "03 0001 0003") for unit in (1, 2)] == ["03 06 00 07 00 08 00 09"] * 2


@pytest.mark.parametrize("pdu", ["03 0001 0001", "08 0004 0000", "17 0001 0001 0001 0001 02 0007"])
def test_only_writes_can_be_broadcast(talk, pdu):
    line = talk(1)
    assert line.ask(0, pdu) is None
    assert line.ask(1, "03 0001 0001") == "03 02 00 00"


def test_a_wrong_crc_gets_silence_and_is_counted(talk):
    line = talk(1)
    assert line.raw("01 04 00 08 00 01 B0 09") == []
    assert line.count(1, 0x0C) == 1


def test_a_unit_without_power_is_silent_and_counts_anew_when_it_is_back(talk):
    line = talk(1, 2)
    line.ask(1, "03 0001 0001")
    line.power(1, on=False)
    assert line.ask(1, "03 0001 0001") is None
    assert line.ask(2, "03 0001 0001") == "03 02 00 00"
    line.power(1, on=True)
    assert line.count(1, 0x0E) == 1


# What each counter counts: V1.1b3 clause 6.8.1, from memory.
def test_counters_count_each_its_own(talk):
    line = talk(1, 2)
    line.ask(1, "03 0001 0001")
    line.ask(1, "03 0000 0001")
    line.ask(2, "03 0001 0001")
    line.ask(0, "06 0001 0007")
    line.ask(0, "06 0000 0007")
    line.raw("01 03 00 00 00 01 84 0B")
    assert line.count(1, 0x0B) == 6
    assert line.count(1, 0x0C) == 1
    assert line.count(1, 0x0D) == 2
    assert line.count(1, 0x0E) == 8
    assert line.count(1, 0x0F) == 2
    assert [line.count(1, n) for n in (0x02, 0x10, 0x11, 0x12)] == [0, 0, 0, 0]
    assert line.count(2, 0x0D) == 1


def test_counters_are_cleared_by_their_command(talk):
    line = talk(1)
    line.ask(1, "03 0000 0001")
    assert line.ask(1, "08 000A 0000") == "08 00 0A 00 00"
    assert line.count(1, 0x0D) == 0
    assert line.count(1, 0x0B) == 2
    assert line.ask(1, "08 0014 0000") == "08 00 14 00 00"


def test_a_listening_unit_acts_on_nothing_but_a_restart(talk):
    line = talk(1, 2)
    assert line.ask(1, "08 0004 0000") is None
    assert line.ask(1, "03 0001 0001") is None
    assert line.ask(1, "06 0001 0009") is None
    assert line.ask(0, "06 0002 0009") is None
    assert line.ask(1, "08 0000 A537") is None
    assert line.ask(2, "03 0002 0001") == "03 02 00 09"
    assert line.ask(1, "08 0001 0000") is None
    assert line.ask(1, "03 0001 0002") == "03 04 00 00 00 00"
    assert line.ask(1, "08 0001 FF00") == "08 00 01 FF 00"


# Order of figure 18: function and sub-function (01), then data value (03). Reserved: annex A.
@pytest.mark.parametrize(
    ("pdu", "code"),
    [("08 0003 0000", 1), ("08 0013 0000", 1), ("08 0015 0000", 1), ("08 FFFF 0000", 1),
     ("08 000B 0001", 3), ("08 0001 0001", 3), ("08 0004 FF00", 3), ("08 000B", 3), ("08 00", 3),
     ("08 0000", 3), ("08 0013 0001", 1)],
)  # fmt: skip
def test_what_diagnostics_refuses(talk, pdu, code):
    assert talk(1).ask(1, pdu) == f"88 0{code}"


def test_query_data_of_any_length_comes_back(talk):
    assert talk(1).ask(1, "08 0000 A537 1234 5678") == "08 00 00 A5 37 12 34 56 78"


# V1.1b3 clauses 6.9 and 6.10, the examples' bytes. The example calls event 20 "listen only", its
# own definition says 04; here it is bytes alone.
def test_event_counter_and_log_have_the_form_of_the_specification():
    assert event_counter(0xFFFF, 264).hex(" ").upper() == "0B FF FF 01 08"
    log = event_log(0, 264, 289, bytes.fromhex("20 00"))
    assert log.hex(" ").upper() == "0C 08 00 00 01 08 01 21 20 00"


def test_events_are_successes_that_are_no_fetches(talk):
    line = talk(1)
    line.ask(1, "03 0001 0001")
    line.ask(1, "03 0000 0001")
    assert line.ask(1, "0B") == "0B 00 00 00 01"
    assert line.ask(1, "0B") == "0B 00 00 00 01"


# Event bytes: V1.1b3 clause 6.10, from memory; 04 for listen-only by the definition there.
def test_the_log_tells_the_last_event_first(talk):
    line = talk(1)
    assert line.ask(1, "08 0001 FF00") == "08 00 01 FF 00"
    line.ask(1, "03 0000 0001")
    line.ask(0, "06 0001 0007")
    answer = bytes.fromhex(line.ask(1, "0C"))
    assert answer[8:].hex(" ").upper() == "80 40 C0 41 80 40 00"
    line.ask(1, "08 0004 0000")
    line.ask(1, "03 0001 0001")
    line.ask(1, "08 0001 0000")
    answer = bytes.fromhex(line.ask(1, "0C"))
    assert answer[8:14].hex(" ").upper() == "80 00 A0 60 A0 04"


def test_the_log_keeps_the_last_64_events(talk):
    line = talk(1)
    for _ in range(40):
        line.ask(1, "03 0001 0001")
    assert bytes.fromhex(line.ask(1, "0C"))[1] == 6 + 64


def test_exception_status_tells_the_panels_state(talk):
    line = talk(1)
    assert line.ask(1, "07") == "07 00"
    line.devices[1].panel.apply(PanelFault(on=True), 10.0)
    line.devices[1].panel.apply(InputSet("DI-1", on=True), 10.0)
    line.at_s = 15.0
    assert line.ask(1, "07") == "07 41"  # panel fault, unaccepted


def test_a_unit_says_who_it_is(talk):
    answer = bytes.fromhex(talk(5).ask(5, "11"))
    assert answer[1] == len(answer) - 2
    assert answer[2:4] == b"\x05\xff"
    assert answer[4:] == b"GDP-1 virtual panel"


@pytest.mark.parametrize("function", ["07", "0B", "0C", "11"])
def test_functions_without_data_refuse_some(talk, function):
    assert talk(1).ask(1, function + " 01") == f"{int(function, 16) | 0x80:02X} 03"


def test_an_unknown_function_is_answered_with_its_own_code(talk):
    assert talk(1).ask(1, "63 01 02") == "E3 01"


def test_device_identification_goes_over_the_line(talk):
    assert (
        talk(1).ask(1, "2B 0E 04 00") == "2B 0E 04 82 00 00 01 00 0A 47 61 73 77 69 74 6E 65 73 73"
    )


def test_one_noise_byte_before_a_frame_costs_nothing_but_itself(talk):
    line = talk(1)
    assert line.raw("FF 01 04 00 08 00 01 B0 08") == ["01 04 02 00 0A 39 37"]
    assert line.count(1, 0x0C) == 1


def test_half_a_frame_is_no_part_of_the_next_one(talk):
    line = talk(1)
    assert line.raw("01 04 00 08") == []
    assert line.raw("00 01 B0 08") == []
    assert line.raw("01 04 00 08 00 01 B0 08") == ["01 04 02 00 0A 39 37"]


class Twice:
    at_rest = False
    idle_limit_s = None

    def __init__(self):
        self.seen = []

    def shape(self, finished):
        self.seen.append(finished)
        return [Outgoing(0.5, finished.response or b"!")] * 2


def test_a_shaper_gets_whole_frames_and_decides_what_is_sent(talk):
    shaper = Twice()
    session = RtuSession(talk(1).line, shaper=shaper, connection=7)
    asked = bytes.fromhex("01 04 00 08 00 01 B0 08")
    sent = session.receive(asked + rtu_framed(9, b"\x07"), 10.0)
    answer = bytes.fromhex("01 04 02 00 0A 39 37")
    assert sent == [Outgoing(0.5, answer)] * 2 + [Outgoing(0.5, b"!")] * 2
    first, second = shaper.seen
    assert (first.framing, first.connection, first.unit) == ("rtu", 7, 1)
    assert (first.request, first.response) == (asked, answer)
    assert (second.unit, second.response) == (9, None)
