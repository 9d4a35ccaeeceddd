"""What a client must read of the demo after the story, address by address, and what its writes must
do. The numbers are the site file's, decoded here by hand.
"""

import struct

import pytest

from gaswitness_simulator.stimulus import GasTo, Step

BITS_ON = {
    0, 1, 5, 6,  # AT-101 and AT-102: A1 and A2
    32, 38, 45,  # AT-301 fault, AT-401 inhibit, AT-501 A1
    65,  # DI-2
    72, 73, 74, 77, 78, 81, 82,  # K1, K2, K3, V2, F1, F4, B1 act; S1 would, but for the mute
    88,  # S1 muted
}  # fmt: skip
COILS = [
    0, 1, 0, 1, 1, 0,  # K1 to K4, V1, V2; K1, K3, K4, V1, V2 are energised at rest
    1, 0, 0, 1,  # F1 to F4
    1, 0, 0, 0, 0,  # B1 to B3, S1 (muted), S2
]  # fmt: skip
STATES = [2, 2, 0, 0, 0, 0, 8, 9, 0, 1, 0]
FLAGS = [0x0033, 0x0040, 0x0B0D]  # alarms, faults; fault, unaccepted, inhibit, any A1, A2, fault


def float32(registers, *, low_first=False):
    words = registers[::-1] if low_first else registers
    return struct.unpack(">f", struct.pack(">2H", *words))[0]


def check_every_value(client, served):
    check_bits(client)
    check_inputs(client.registers(4, 0, 59), served.panel)
    check_holding(client.registers(3, 0, 17), served)
    check_setpoint_registers(client.registers(3, 100, 39))


def check_bits(client):
    discrete = client.bits(2, 0, 90)
    assert {at for at, on in enumerate(discrete) if on} == BITS_ON
    assert client.bits(1, 0, 15) == COILS
    assert client.bits(1, 32, 3) == [0, 0, 0]


def check_inputs(words, panel):
    readings = {
        "AT-101": (float32(words[0:2]), 60.0, 0.2),
        "AT-102": (float32(words[2:4]), 60.0, 0.2),
        "AT-103": (float32(words[4:6]), 0.0, 0.2),
        "AT-104": (float32(words[6:8]), 0.0, 0.1),
        "AT-201": (float32(words[10:12], low_first=True), 0.0, 0.1),
        "AT-202": (float32(words[12:14], low_first=True), 0.0, 0.1),
        "AT-401": (struct.unpack(">h", struct.pack(">H", words[21]))[0] * 0.1, 0.0, 0.15),
        "AT-402": (struct.unpack(">i", struct.pack(">2H", *words[22:24]))[0] * 0.001, 0, 0.0055),
        "AT-501": (words[24] + 65536 * words[25], 9000.0, 20.5),
        "AT-601": (words[26] * 0.01, 20.9, 0.035),
    }
    for tag, (found, gas, noise) in readings.items():
        assert found == pytest.approx(gas, abs=noise), tag
    assert readings["AT-101"][0] == pytest.approx(panel.reading("AT-101"), abs=1e-5)
    assert readings["AT-501"][0] == pytest.approx(panel.reading("AT-501"), abs=0.5)
    assert words[20] == 0x8000  # AT-301 in fault: its sentinel -32768
    assert words[40:51] == STATES
    assert words[56:59] == FLAGS
    unmapped = [*range(8, 10), *range(14, 20), *range(27, 40), *range(51, 56)]
    assert [words[at] for at in unmapped] == [0] * len(unmapped)


def check_holding(words, served):
    assert words[0] == int(served.now_s // 2.0)  # the heartbeat counts periods of 2 s
    assert words[1] == 3
    assert struct.pack(">8H", *words[2:10]) == b"GDP-1".ljust(16, b"\0")
    assert f"{words[10]:04x}{words[11]:04x}" == "20260417"
    assert struct.unpack("<Q", struct.pack(">4H", *words[12:16]))[0] == 30017
    assert words[16] == 0


def check_setpoint_registers(words):
    floats = [float32(words[at : at + 2]) for at in range(0, 16, 2)]
    assert floats == [25.0, 35.0, 25.0, 35.0, 25.0, 35.0, 10.0, 20.0]
    swapped = [float32(words[at : at + 2], low_first=True) for at in range(16, 24, 2)]
    assert swapped == [10.0, 20.0, 10.0, 20.0]
    assert words[24:28] == [100, 200, 200, 1000]  # AT-301, AT-401, by tenths
    assert words[28:32] == [0, 500, 0, 1000]  # AT-402, by thousandths
    assert words[32:36] == [5000, 0, 15000, 0]  # AT-501, low word first
    assert words[36:39] == [1950, 1800, 2350]  # AT-601, by hundredths


def check_setpoints(client, served):
    client.register(126, 255)
    client.write(132, [6000, 0])
    served.now_s += 2.0
    assert client.registers(3, 126, 1) == [255]
    assert client.registers(3, 132, 2) == [6000, 0]
    assert served.panel.setpoint("AT-401", "A1") == pytest.approx(25.5)
    assert served.panel.setpoint("AT-501", "A1") == 6000.0
    client.write(132, [0x86A0, 0x0001])  # 100,000 ppm is beyond the range: held at 30,000
    served.now_s += 2.0
    assert client.registers(3, 132, 2) == [30000, 0]


def check_commands(client, served):
    panel = served.panel
    assert (panel.fact("panel.unaccepted"), panel.fact("S1.muted")) == (True, True)
    client.coil(33, True)
    served.now_s += 2.0
    assert client.registers(4, 58, 1) == [0x0B0D & ~0x0004]
    client.coils(32, [True, False, False])  # reset, with the gas still there
    served.now_s += 2.0
    assert client.bits(2, 0, 2) == [1, 1]
    assert client.bits(1, 32, 3) == [0, 0, 0]  # commands read as 0
    for tag in ("AT-101", "AT-102"):
        panel.apply(GasTo(tag, Step(0.0)), served.now_s)
    served.now_s += 200.0
    client.coil(32, False)  # no command
    served.now_s += 2.0
    assert client.bits(2, 0, 2) == [0, 1]  # A1 went with the gas, A2 stays: it latches
    client.coil(32, True)
    served.now_s += 2.0
    assert client.bits(2, 0, 2) == [0, 0]
    assert not panel.fact("AT-101.A2")
