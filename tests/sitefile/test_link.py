"""Link addresses: what is read, what is refused, and whose unit id counts."""

import pytest

from gaswitness_sitefile.link import Link
from gaswitness_sitefile.link_address import LinkAddress, parse_link


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("tcp://192.0.2.10", LinkAddress("tcp", "192.0.2.10", 502)),
        ("tcp://192.0.2.10:1502/7", LinkAddress("tcp", "192.0.2.10", 1502, 7)),
        ("tcp://panel.example/0", LinkAddress("tcp", "panel.example", 502, 0)),
        ("tcp://[2001:db8::5]:502/255", LinkAddress("tcp", "2001:db8::5", 502, 255)),
    ],
)
def test_addresses_are_read(text, address):
    """502 is the port of the Messaging on TCP/IP guide V1.0b, clause 4.3.1 (from memory)."""
    assert parse_link(text) == address


@pytest.mark.parametrize(
    "text",
    ["192.0.2.10", "tcp://", "tcp://h:x", "tcp://h:70000", "tcp://h/256", "tcp://h/one",
     "serial://COM3", "tcp://h?x=1", "tcp://user@h", "tcp://h/1/2", "tcp://h/-1", "", "tcp://[::1"],
)  # fmt: skip
def test_what_is_no_address_is_refused_with_an_example(text):
    with pytest.raises(ValueError, match=r"write tcp://HOST:PORT/UNIT"):
        parse_link(text)


@pytest.mark.parametrize("text", ["tcp://192.0.2.10:502/3", "tcp://[2001:db8::5]:502"])
def test_an_address_is_written_as_it_is_read(text):
    assert str(parse_link(text)) == text


def test_the_unit_in_the_address_goes_before_that_of_the_link():
    assert Link(name="a", address="tcp://192.0.2.10", unit=4).where.unit == 4
    assert Link(name="a", address="tcp://192.0.2.10/9", unit=4).where.unit == 9
    assert Link(name="a", address="tcp://192.0.2.10").where.unit == 1
