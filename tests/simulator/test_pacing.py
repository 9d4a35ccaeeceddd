"""Times of a serial line: MODBUS over Serial Line V1.02, clause 2.5.1."""

import pytest

from gaswitness_simulator.pacing import Arrivals, Departure, LineTimes
from gaswitness_sitefile.link_address import SerialLine


# Character of 11 bits: 11 / baud. To 19200 baud 1.5 and 3.5 characters, above 750 us and 1.75 ms.
@pytest.mark.parametrize(
    ("baud", "character_ms", "t15_ms", "t35_ms"),
    [
        (9600, 1.145833, 1.718750, 4.010417),
        (19200, 0.572917, 0.859375, 2.005208),
        (38400, 0.286458, 0.750000, 1.750000),
        (115200, 0.095486, 0.750000, 1.750000),
    ],
)
def test_characters_and_silences(baud, character_ms, t15_ms, t35_ms):
    times = LineTimes.of(SerialLine(baud))
    found = (times.character_s * 1e3, times.t15_s * 1e3, times.t35_s * 1e3)
    assert found == pytest.approx((character_ms, t15_ms, t35_ms), abs=1e-6)


def test_a_character_has_as_many_bits_as_the_settings_say():
    assert LineTimes.of(SerialLine(1000, "none", 1)).character_s == pytest.approx(0.010)
    assert LineTimes.of(SerialLine(1000, "odd", 2)).character_s == pytest.approx(0.012)


TEN_MS = LineTimes(0.010, 0.015, 0.035)


def test_bytes_that_came_at_once_arrive_one_after_another():
    arrivals = Arrivals(TEN_MS)
    assert arrivals.last_byte_s(5.0, 8) == pytest.approx(5.08)
    assert arrivals.last_byte_s(5.01, 2) == pytest.approx(5.10)
    assert arrivals.last_byte_s(6.0, 1) == pytest.approx(6.01)


def test_no_byte_leaves_before_its_last_bit():
    leaving = Departure(b"abcd", 1.0)
    assert leaving.due(1.009, TEN_MS) == b""
    assert leaving.next_s(TEN_MS) == pytest.approx(1.010)
    assert leaving.due(1.010, TEN_MS) == b"a"
    assert leaving.due(1.010, TEN_MS) == b""
    assert leaving.due(1.035, TEN_MS) == b"bc"
    assert leaving.next_s(TEN_MS) == pytest.approx(1.040)
    assert leaving.due(9.0, TEN_MS) == b"d"
    assert leaving.next_s(TEN_MS) is None
