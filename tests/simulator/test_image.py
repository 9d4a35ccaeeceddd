"""The register image: what each kind of point shows, when it is made anew, what writing does."""

import struct

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import (
    ChannelFault,
    GasTo,
    Inhibit,
    InputSet,
    Power,
    Press,
    Step,
)

HOLDING, INPUT, COIL, DISCRETE = 3, 4, 1, 2


class Wire:
    """A panel read and written by plain PDUs."""

    def __init__(self, site, seed=0):
        self.panel = VirtualPanel(site, seed=seed)
        self.device = VirtualDevice(self.panel)

    def wait(self, for_s=2.0):
        self.panel.advance(self.panel.now_s + for_s)
        return self

    def do(self, *stimuli, wait_s=2.0):
        for stimulus in stimuli:
            self.panel.apply(stimulus, self.panel.now_s)
        return self.wait(wait_s)

    def ask(self, *parts):
        return self.device.answer(1, b"".join(parts), self.panel.now_s)

    def registers(self, function, address, count):
        answer = self.ask(struct.pack(">BHH", function, address, count))
        if answer[0] & 0x80:
            return answer.hex()
        return struct.unpack(f">{count}H", answer[2:])

    def bits(self, function, address, count):
        answer = self.ask(struct.pack(">BHH", function, address, count))
        if answer[0] & 0x80:
            return answer.hex()
        packed = int.from_bytes(answer[2:], "little")
        return [packed >> i & 1 for i in range(count)]

    def write(self, address, *words):
        head = struct.pack(">BHHB", 0x10, address, len(words), 2 * len(words))
        return self.ask(head, struct.pack(f">{len(words)}H", *words)).hex()

    def write_one(self, address, word):
        return self.ask(struct.pack(">BHH", 6, address, word)).hex()

    def write_coil(self, address, on):
        return self.ask(struct.pack(">BHH", 5, address, 0xFF00 * on)).hex()


@pytest.fixture
def wire(make_site):
    return lambda *points, **parts: Wire(make_site(points=list(points), **parts))


@pytest.fixture
def mapped(a_point):
    """A holding-register point, or one of a bit table, by address, type and what it shows."""

    def build(address, kind, shows, table="holding register", **more):
        return a_point(f"p{address}-{shows}-{more.get('bit')}", table, address, kind, shows, **more)

    return build


# --- what points show ----------------------------------------------------------------------------


def test_reading_stands_scaled(wire, mapped):
    panel = wire(mapped(7, "int16", "AT-1.reading", scale=0.1, offset=-5)).do(
        GasTo("AT-1", Step(20.9))
    )
    assert panel.registers(HOLDING, 7, 1) == (259,)


@pytest.mark.parametrize(
    ("on_fault", "kind", "sentinel", "shown"),
    [
        ("hold", "int16", -1, (300,)),
        ("zero", "int16", -1, (0,)),
        ("sentinel", "int16", -1, (0xFFFF,)),
        ("sentinel", "int16", None, (300,)),
        ("nan", "int16", None, (300,)),
        ("nan", "int16", 0x7FFF, (0x7FFF,)),
        ("nan", "float32", None, (0x7FC0, 0)),
    ],
)
def test_reading_in_fault_stands_as_stated(
    wire, mapped, a_channel, on_fault, kind, sentinel, shown
):
    panel = wire(
        mapped(0, kind, "AT-1.reading", scale=0.1, sentinel=sentinel),
        channels=[a_channel(on_fault=on_fault)],
    )
    panel.do(GasTo("AT-1", Step(30.0))).do(ChannelFault("AT-1", on=True))
    panel.do(GasTo("AT-1", Step(50.0)))
    assert panel.registers(HOLDING, 0, len(shown)) == shown
    panel.do(ChannelFault("AT-1", on=False))
    if len(shown) == 1:
        assert panel.registers(HOLDING, 0, 1) == (500,)


CODES = {0: "normal", 1: "A1", 2: "A2", 7: "fault", 8: "inhibit", 9: "warm_up"}


def test_state_shows_the_first_that_applies(wire, mapped, a_channel):
    levels = {"A1": {"setpoint": 20}, "A2": {"setpoint": 40}}
    panel = wire(
        mapped(0, "enumeration", "AT-1.state", codes=CODES),
        mapped(1, "string", "AT-1.state", length=5),
        channels=[a_channel(levels=levels)],
        timing={"scan_s": 1, "refresh_s": 0, "warm_up_s": 5},
    )
    seen = []
    for stimulus, wait_s in [
        (GasTo("AT-1", Step(0.0)), 2),
        (GasTo("AT-1", Step(0.0)), 5),
        (GasTo("AT-1", Step(25.0)), 2),
        (GasTo("AT-1", Step(45.0)), 2),
        (ChannelFault("AT-1", on=True), 2),
        (Inhibit("AT-1", on=True), 2),
    ]:
        panel.do(stimulus, wait_s=wait_s)
        code, *text = panel.registers(HOLDING, 0, 6)
        seen.append((code, struct.pack(">5H", *text).rstrip(b"\0").decode()))
    assert seen == [
        (9, "warm_up"), (0, "normal"), (1, "A1"), (2, "A2"), (7, "fault"), (8, "inhibit"),
    ]  # fmt: skip


def test_a_state_without_a_code_gives_way_to_the_next(wire, mapped):
    panel = wire(mapped(0, "enumeration", "AT-1.state", codes={3: "normal", 4: "A1"}))
    panel.do(GasTo("AT-1", Step(150.0)))
    assert panel.registers(HOLDING, 0, 1) == (4,)
    panel.do(ChannelFault("AT-1", on=True), GasTo("AT-1", Step(0.0)))
    assert panel.registers(HOLDING, 0, 1) == (4,)  # in fault the level holds


def test_over_range_shows_without_being_a_cause(wire, mapped):
    panel = wire(
        mapped(0, "bit", "AT-1.over_range", table="coil"),
        mapped(1, "bit", "AT-1.under_range", table="coil"),
        mapped(0, "enumeration", "AT-1.state", codes={0: "normal", 5: "over_range"}),
        timing={"scan_s": 1, "refresh_s": 0.2},
    )
    panel.do(GasTo("AT-1", Step(115.0)))
    assert panel.bits(COIL, 0, 2) == [1, 0]
    panel.do(GasTo("AT-1", Step(-15.0)))
    assert panel.bits(COIL, 0, 2) == [0, 1]
    panel.do(GasTo("AT-1", Step(0.0)))
    assert panel.bits(COIL, 0, 2) == [0, 0]


def test_over_range_in_fault_shows_what_the_panel_says(wire, mapped):
    panel = wire(mapped(0, "bit", "AT-1.over_range", table="coil"))
    panel.do(ChannelFault("AT-1", on=True), GasTo("AT-1", Step(115.0)))
    assert panel.panel.fact("AT-1.over_range")
    assert panel.bits(COIL, 0, 1) == [1]


def test_bits_share_their_register(wire, mapped, a_cell):
    panel = wire(
        mapped(3, "bit in word", "AT-1.A1", bit=0),
        mapped(3, "bit in word", "K1.active", bit=15),
        mapped(3, "bit in word", "panel.unaccepted", bit=4),
        mapped(4, "bit field", "bits", bits={1: "any.A1", 2: "panel.fault"}),
        mapped(5, "bit in word", "AT-1.A1", bit=0, order="BADC"),
        mapped(6, "uint16", "AT-1.A1"),
        outputs=[{"tag": "K1", "kind": "relay"}],
        matrix=[a_cell("AT-1.A1", "K1")],
    )
    assert panel.registers(HOLDING, 3, 4) == (0, 0, 0, 0)
    panel.do(GasTo("AT-1", Step(25.0)))
    assert panel.registers(HOLDING, 3, 4) == (0x8011, 0x0002, 0x0100, 1)
    panel.do(Press("accept"), ChannelFault("AT-1", on=True))
    assert panel.registers(HOLDING, 3, 2) == (0x8011, 0x0006)


def test_the_later_row_has_a_register_that_two_claim(wire, mapped):
    panel = wire(
        mapped(0, "uint32", "constant", value=0x11112222),
        mapped(1, "uint16", "constant", value=0x3333),
    )
    assert panel.registers(HOLDING, 0, 2) == (0x1111, 0x3333)


def test_constants_stand_as_stated(wire, mapped):
    panel = wire(
        mapped(0, "uint16", "constant", value=12.5, scale=0.5),
        mapped(1, "string", "constant", value="GDP-1", length=3),
        mapped(4, "enumeration", "constant", value="A1", codes={6: "A1"}),
        mapped(5, "uint16", "spare"),
        mapped(0, "bit", "constant", table="coil", value=1),
    )
    assert panel.registers(HOLDING, 0, 6) == (25, 0x4744, 0x502D, 0x3100, 6, 0)
    assert panel.bits(COIL, 0, 1) == [1]


def test_heartbeat_counts_and_toggles(wire, mapped):
    timing = {"scan_s": 0.5, "refresh_s": 0.1, "heartbeat_s": 2}
    panel = wire(
        mapped(0, "uint16", "heartbeat"),
        mapped(1, "bcd16", "heartbeat"),
        mapped(2, "int16", "heartbeat"),
        mapped(3, "bit in word", "heartbeat", bit=3),
        timing=timing,
    )
    panel.wait(7.0)
    assert panel.registers(HOLDING, 0, 4) == (3, 3, 3, 8)
    panel.wait(2.0)
    assert panel.registers(HOLDING, 0, 4) == (4, 4, 4, 0)
    panel.wait(2.0 * 65533)
    assert panel.registers(HOLDING, 0, 3) == (1, 0x5537, 1)
    panel.wait(2.0 * 32768)
    assert panel.registers(HOLDING, 2, 1) == (0x8001,)


def test_heartbeat_begins_anew_with_the_power(wire, mapped):
    panel = wire(
        mapped(0, "uint16", "heartbeat"), timing={"scan_s": 0.5, "refresh_s": 0.1, "heartbeat_s": 1}
    )
    panel.wait(50.0).do(Power(on=False)).do(Power(on=True), wait_s=3.2)
    assert panel.registers(HOLDING, 0, 1) == (3,)


@pytest.mark.parametrize(
    ("kind", "shows"),
    [("uint16", "K9.active"), ("uint16", "AT-9.reading"), ("uint16", "AT-1.A2.setpoint"),
     ("string", "AT-1.A1")],
)  # fmt: skip
def test_a_point_that_cannot_be_shown_is_refused_by_name(wire, mapped, kind, shows):
    with pytest.raises(ValueError, match="point 'p0-"):
        wire(mapped(0, kind, shows, length=2))


# --- refresh -------------------------------------------------------------------------------------


def test_image_keeps_the_old_until_its_refresh(make_site):
    site = make_site(timing={"scan_s": 0.2, "refresh_s": 1.5})
    panel = Wire(site, seed=3)
    first_s = panel.panel._refresh_phase_s
    panel.panel.advance(first_s + 0.01)
    panel.do(GasTo("AT-1", Step(100.0)), wait_s=0.0)
    panel.panel.advance(first_s + 1.49)
    assert panel.panel.reading("AT-1") == 100.0
    assert panel.registers(HOLDING, 0, 1) == (0,)
    panel.panel.advance(first_s + 1.51)
    assert panel.registers(HOLDING, 0, 1) == (0x42C8,)


def test_image_shows_the_state_at_the_refresh_not_later(make_site):
    site = make_site(timing={"scan_s": 0.2, "refresh_s": 1.5})
    panel = Wire(site, seed=3)
    first_s = panel.panel._refresh_phase_s
    panel.panel.apply(GasTo("AT-1", Step(100.0)), first_s + 0.3)
    panel.panel.apply(GasTo("AT-1", Step(50.0)), first_s + 1.6)
    panel.panel.advance(first_s + 2.9)
    assert panel.registers(HOLDING, 0, 1) == (0x42C8,)
    panel.panel.advance(first_s + 3.01)
    assert panel.registers(HOLDING, 0, 1) == (0x4248,)


def test_panel_cannot_serve_until_its_image_is_made_after_power_up(make_site):
    panel = Wire(make_site(timing={"scan_s": 1, "refresh_s": 1.5}))
    assert panel.registers(HOLDING, 0, 2) == (0, 0)
    panel.do(Power(on=False))
    assert panel.ask(bytes.fromhex("0300000002")) is None
    panel.do(Power(on=True), wait_s=0.0)
    assert panel.registers(HOLDING, 0, 2) == "8304"
    assert panel.write_one(0, 1) == "8602"  # the address is checked before
    panel.wait(2.6)
    assert panel.registers(HOLDING, 0, 2) == (0, 0)


# --- access and gaps -----------------------------------------------------------------------------


def test_gaps_are_refused_or_read_as_zeros(wire, mapped):
    points = mapped(10, "uint16", "constant", value=5), mapped(12, "uint16", "constant", value=6)
    closed, filled = wire(*points), wire(*points, map={"gaps": "zeros"})
    assert closed.registers(HOLDING, 10, 3) == "8302"
    assert filled.registers(HOLDING, 10, 3) == (5, 0, 6)
    assert filled.registers(HOLDING, 9, 2) == "8302"
    assert filled.registers(HOLDING, 12, 2) == "8302"
    assert filled.registers(INPUT, 10, 1) == "8402"


def test_gaps_may_differ_by_table(wire, mapped):
    panel = wire(
        *(mapped(a, "uint16", "spare") for a in (0, 2)),
        *(mapped(a, "uint16", "spare", table="input register") for a in (0, 2)),
        map={"gaps": {"input register": "zeros"}},
    )
    assert panel.registers(HOLDING, 0, 3) == "8302"
    assert panel.registers(INPUT, 0, 3) == (0, 0, 0)


def test_access_is_kept_to(wire, mapped):
    panel = wire(
        mapped(0, "uint16", "spare", access="w"),
        mapped(1, "uint16", "spare", access="r"),
        mapped(2, "uint16", "spare", access="rw"),
    )
    assert panel.registers(HOLDING, 0, 1) == "8302"
    assert panel.registers(HOLDING, 0, 3) == "8302"
    assert panel.write_one(1, 5) == "8602"
    assert panel.write_one(0, 5) == "0600000005"
    assert panel.write_one(2, 5) == "0600020005"
    assert panel.registers(HOLDING, 1, 2) == (0, 5)


def test_a_write_is_all_or_nothing(wire, mapped):
    panel = wire(
        mapped(0, "uint16", "spare", access="rw"), mapped(1, "uint16", "spare", access="r")
    )
    assert panel.write(0, 7, 7) == "9002"
    assert panel.registers(HOLDING, 0, 1) == (0,)


def test_part_of_a_wide_value_is_refused(wire, mapped):
    panel = wire(mapped(0, "uint32", "spare", access="rw"), mapped(2, "uint16", "spare"))
    assert panel.write_one(0, 7) == "8602"
    assert panel.write(1, 7) == "9002"
    assert panel.write(0, 1, 7) == "1000000002"
    assert panel.registers(HOLDING, 0, 2) == (1, 7)


# --- what writing does ---------------------------------------------------------------------------


def test_spare_keeps_what_is_written(wire, mapped):
    panel = wire(mapped(0, "uint16", "spare", access="rw"))
    panel.write_one(0, 0xBEEF)
    panel.do(Power(on=False)).do(Power(on=True))
    assert panel.registers(HOLDING, 0, 1) == (0xBEEF,)


def test_setpoint_is_written_in_the_channels_unit(wire, mapped):
    panel = wire(mapped(0, "uint16", "AT-1.A1.setpoint", access="rw", scale=0.1))
    assert panel.registers(HOLDING, 0, 1) == (200,)
    panel.do(GasTo("AT-1", Step(15.0)))
    panel.write_one(0, 150)
    assert panel.registers(HOLDING, 0, 1) == (150,)
    panel.wait()
    assert panel.panel.setpoint("AT-1", "A1") == pytest.approx(15.0)
    assert panel.panel.fact("AT-1.A1")
    panel.write_one(0, 5000)
    assert panel.wait().registers(HOLDING, 0, 1) == (1000,)


def test_written_inhibit_shows_at_once_and_stays(make_site, a_point):
    site = make_site(
        timing={"scan_s": 1.0, "refresh_s": 0.1},
        points=[a_point("i", "coil", 0, "bit", "AT-1.inhibit", access="rw")],
    )
    panel = Wire(site)
    panel.write_coil(0, on=True)
    seen = []
    for _ in range(40):
        panel.wait(0.05)
        seen += panel.bits(COIL, 0, 1)
    assert seen == [1] * 40
    assert panel.panel.fact("AT-1.inhibit")
    panel.write_coil(0, on=False)
    assert panel.wait().bits(COIL, 0, 1) == [0]
    assert not panel.panel.fact("AT-1.inhibit")


def test_inhibit_is_written_as_register_or_bit_in_word(wire, mapped):
    panel = wire(
        mapped(0, "uint16", "AT-1.inhibit", access="rw"),
        mapped(1, "bit in word", "AT-1.inhibit", access="rw", bit=4),
        mapped(1, "bit in word", "panel.inhibit", bit=5),
    )
    panel.write_one(0, 1)
    assert panel.wait().registers(HOLDING, 0, 2) == (1, 0x30)
    panel.write_one(1, 0)
    assert panel.wait().registers(HOLDING, 0, 2) == (0, 0)


@pytest.mark.parametrize("kind", ["uint16", "bit in word", "bit", "bit field"])
def test_commands_press_their_key_and_read_back_zero(wire, mapped, a_channel, kind):
    table = "coil" if kind == "bit" else "holding register"
    shows = "bits" if kind == "bit field" else "panel.reset"
    more = {"bit": 0} if kind == "bit in word" else {}
    more |= {"bits": {0: "panel.reset"}} if kind == "bit field" else {}
    panel = wire(
        mapped(9, kind, shows, table=table, access="rw", **more),
        channels=[a_channel(levels={"A1": {"setpoint": 20, "latching": True}})],
    )
    panel.do(GasTo("AT-1", Step(25.0))).do(GasTo("AT-1", Step(0.0)))
    write = panel.write_coil if kind == "bit" else panel.write_one
    write(9, 0)
    assert panel.wait().panel.fact("AT-1.A1")
    write(9, 1)
    read = panel.bits if kind == "bit" else panel.registers
    assert list(read(COIL if kind == "bit" else HOLDING, 9, 1)) == [0]
    assert not panel.wait().panel.fact("AT-1.A1")


def test_only_writable_bits_of_a_register_change(wire, mapped):
    panel = wire(
        mapped(0, "bit in word", "spare", bit=0, access="rw"),
        mapped(0, "bit in word", "DI-1.active", bit=1),
        inputs=[{"tag": "DI-1"}],
    )
    panel.do(InputSet("DI-1", on=True))
    panel.write_one(0, 0xFFFD)
    assert panel.registers(HOLDING, 0, 1) == (3,)
    assert panel.wait().registers(HOLDING, 0, 1) == (3,)


def test_a_written_value_that_means_nothing_is_overruled_by_the_next_scan(wire, mapped):
    panel = wire(mapped(0, "uint16", "AT-1.reading", access="rw"))
    panel.write_one(0, 77)
    assert panel.registers(HOLDING, 0, 1) == (77,)
    assert panel.wait().registers(HOLDING, 0, 1) == (0,)
