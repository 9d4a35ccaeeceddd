"""Files of records and queues: V1.1b3 clauses 6.14, 6.15, 6.18 and figures 24, 25, 28."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel


@pytest.fixture
def ask(make_site):
    """A panel with the files and queues of the specification's examples, asked in hex."""
    maps = {
        "files": [
            {"number": 4, "records": 300, "values": [0, 0x0DFE, 0x0020], "writable": True},
            {"number": 3, "records": 11, "values": [0] * 9 + [0x33CD, 0x0040]},
        ],
        "queues": [
            {"pointer": 1246, "values": [440, 4740]},
            {"pointer": 10, "values": list(range(31))},
            {"pointer": 11, "values": list(range(32))},
            {"pointer": 12},
        ],
    }
    device = VirtualDevice(VirtualPanel(make_site(map=maps)))

    def asked(pdu):
        return device.answer(1, bytes.fromhex(pdu), 1.0).hex(" ").upper()

    return asked


def test_the_specifications_read_of_two_files(ask):
    assert (
        ask("14 0E 06 00 04 00 01 00 02 06 00 03 00 09 00 02")
        == "14 0C 05 06 0D FE 00 20 05 06 33 CD 00 40"
    )


def test_the_specifications_write_is_echoed_and_read_back(ask):
    request = "15 0D 06 00 04 00 07 00 03 06 AF 04 BE 10 0D"
    assert ask(request) == request
    assert ask("14 07 06 0004 0007 0003") == "14 08 07 06 06 AF 04 BE 10 0D"


def test_the_specifications_queue(ask):
    assert ask("18 04 DE") == "18 00 06 00 02 01 B8 12 84"
    assert ask("18 04 DE") == "18 00 06 00 02 01 B8 12 84"


@pytest.mark.parametrize(
    ("pdu", "code"),
    [
        ("14 06 06 0004 0001 00", 3),
        ("14 08 06 0004 0001 0001 00", 3),
        ("14 07 06 0004 0001", 3),
        ("14", 3),
        ("14 07 07 0004 0001 0001", 2),
        ("14 07 06 0005 0001 0001", 2),
        ("14 07 06 0004 012B 0002", 2),
        ("14 07 06 0004 0001 0000", 2),
        ("14 0E 06 0004 0001 0001 07 0004 0001 0001", 2),
        ("14 07 06 0004 0000 007A", 3),  # 246 bytes in an answer that holds 245
        ("14 07 06 0004 0000 FFFF", 2),
        ("15 0D 06 0004 0007 0004 06AF 04BE 100D", 3),
        ("15 08 06 0004 0007 0000 00", 3),
        ("15 09 06 0003 0001 0001 1234", 2),
        ("15 09 06 0004 012C 0001 1234", 2),
        ("15 09 05 0004 0000 0001 1234", 2),
        ("18 00", 3),
        ("18 0000", 2),
        ("18 000B", 3),
    ],
)
def test_what_is_refused(ask, pdu, code):
    assert ask(pdu) == f"{int(pdu[:2], 16) | 0x80:02X} 0{code}"


def test_the_most_that_fits_is_given(ask):
    assert ask("14 07 06 0004 0000 0079")[:8] == "14 F4 F3"
    assert ask("18 000A")[:14] == "18 00 40 00 1F"
    assert ask("18 000C") == "18 00 02 00 00"


def test_a_write_wrong_in_one_group_writes_none(ask):
    assert ask("15 12 06 0004 0000 0001 1234 06 0009 0000 0001 1234") == "95 02"
    assert ask("14 07 06 0004 0000 0001") == "14 04 03 06 00 00"


def test_a_panel_without_files_or_queues_does_not_know_the_functions(make_site):
    device = VirtualDevice(VirtualPanel(make_site()))
    asked = ("14 07 06 0004 0001 0001", "15 09 06 0004 0000 0001 1234", "18 04DE")
    answers = [device.answer(1, bytes.fromhex(pdu), 1.0).hex() for pdu in asked]
    assert answers == ["9401", "9501", "9801"]
