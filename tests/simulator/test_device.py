"""Requests and answers against the worked examples and state diagrams of the MODBUS Application
Protocol Specification V1.1b3. Bytes are PDUs, in hex."""

import pytest

from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel


def ask(device, text):
    answer = device.answer(1, bytes.fromhex(text), 1.0)
    return None if answer is None else answer.hex(" ").upper()


@pytest.fixture
def device(make_site, a_point):
    def build(*points, **parts):
        return VirtualDevice(VirtualPanel(make_site(points=list(points), **parts)))

    return build


@pytest.fixture
def bits(a_point):
    """Bit points from `first` on, preset from bytes as on the wire, first bit in the lowest."""

    def build(table, first, count, data, access="r"):
        packed = int.from_bytes(bytes.fromhex(data), "little")
        return [
            a_point(f"b{n}", table, first + n, "bit", "constant", value=packed >> n & 1,
                    access=access)
            for n in range(count)
        ]  # fmt: skip

    return build


@pytest.fixture
def words(a_point):
    def build(table, first, *values, access="rw"):
        return [
            a_point(f"w{first + n}", table, first + n, "uint16", "constant", value=value,
                    access=access)
            for n, value in enumerate(values)
        ]  # fmt: skip

    return build


# --- worked examples, byte for byte --------------------------------------------------------------


def test_clause_6_1_reads_coils_20_to_38(device, bits):
    served = device(*bits("coil", 19, 19, "CD 6B 05"))
    assert ask(served, "01 00 13 00 13") == "01 03 CD 6B 05"


def test_clause_6_2_reads_discrete_inputs_197_to_218(device, bits):
    served = device(*bits("discrete input", 196, 22, "AC DB 35"))
    assert ask(served, "02 00 C4 00 16") == "02 03 AC DB 35"


def test_clause_6_3_reads_registers_108_to_110(device, words):
    served = device(*words("holding register", 0x6B, 555, 0, 100))
    assert ask(served, "03 00 6B 00 03") == "03 06 02 2B 00 00 00 64"


def test_clause_6_4_reads_input_register_9(device, words):
    served = device(*words("input register", 8, 10))
    assert ask(served, "04 00 08 00 01") == "04 02 00 0A"


def test_clause_6_5_writes_coil_173(device, bits):
    served = device(*bits("coil", 0xAC, 1, "00", access="rw"))
    assert ask(served, "05 00 AC FF 00") == "05 00 AC FF 00"
    assert ask(served, "01 00 AC 00 01") == "01 01 01"


def test_clause_6_6_writes_register_2(device, words):
    served = device(*words("holding register", 1, 0))
    assert ask(served, "06 00 01 00 03") == "06 00 01 00 03"
    assert ask(served, "03 00 01 00 01") == "03 02 00 03"


def test_clause_6_11_writes_10_coils_from_20(device, bits):
    served = device(*bits("coil", 19, 10, "00 00", access="rw"))
    assert ask(served, "0F 00 13 00 0A 02 CD 01") == "0F 00 13 00 0A"
    assert ask(served, "01 00 13 00 0A") == "01 02 CD 01"


def test_clause_6_12_writes_registers_2_and_3(device, words):
    served = device(*words("holding register", 1, 0, 0))
    assert ask(served, "10 00 01 00 02 04 00 0A 01 02") == "10 00 01 00 02"
    assert ask(served, "03 00 01 00 02") == "03 04 00 0A 01 02"


def test_clause_6_16_masks_register_5(device, words):
    served = device(*words("holding register", 4, 0x12))
    assert ask(served, "16 00 04 00 F2 00 25") == "16 00 04 00 F2 00 25"
    assert ask(served, "03 00 04 00 01") == "03 02 00 17"


def test_clause_6_17_writes_and_reads(device, words):
    read = words("holding register", 3, 0x00FE, 0x0ACD, 0x0001, 0x0003, 0x000D, 0x00FF)
    served = device(*read, *words("holding register", 14, 0, 0, 0))
    request = "17 00 03 00 06 00 0E 00 03 06 00 FF 00 FF 00 FF"
    assert ask(served, request) == "17 0C 00 FE 0A CD 00 01 00 03 00 0D 00 FF"
    assert ask(served, "03 00 0E 00 03") == "03 06 00 FF 00 FF 00 FF"


def test_clause_6_17_writes_before_it_reads(device, words):
    served = device(*words("holding register", 0, 1, 2, 3))
    assert ask(served, "17 00 00 00 03 00 01 00 01 02 77 77") == "17 06 00 01 77 77 00 03"


def test_clause_7_refuses_a_coil_that_is_not_there(device, bits):
    assert ask(device(*bits("coil", 0, 8, "FF")), "01 04 A1 00 01") == "81 02"


# Clause 7, exception code 02: 100 registers, offset 96 length 4 is right, length 5 is not.
@pytest.mark.parametrize(("count", "right"), [(4, True), (5, False)])
def test_clause_7_boundary_of_100_registers(device, words, count, right):
    served = device(*words("holding register", 0, *range(100)))
    answer = ask(served, f"03 00 60 00 {count:02X}")
    assert answer == ("03 08 00 60 00 61 00 62 00 63" if right else "83 02")


# --- quantities, clauses 6.1 to 6.4, 6.11, 6.12, 6.17 --------------------------------------------


@pytest.fixture
def large(device, a_point):
    tables = {"coil": "bit", "discrete input": "bit"}
    points = [
        a_point(f"{table}{n}", table, n, tables.get(table, "uint16"), "spare", access=access)
        for table, count, access in [
            ("coil", 2001, "rw"),
            ("discrete input", 2001, "r"),
            ("holding register", 126, "rw"),
            ("input register", 126, "r"),
        ]
        for n in range(count)
    ]
    return device(*points)


@pytest.mark.parametrize(
    ("function", "most", "size"), [(1, 2000, 250), (2, 2000, 250), (3, 125, 250), (4, 125, 250)]
)
def test_read_quantities_end_where_they_should(large, function, most, size):
    def answer(count):
        return ask(large, f"{function:02X} 00 00 {count:04X}")

    assert answer(0) == f"{function | 0x80:02X} 03"
    assert answer(1).startswith(f"{function:02X}")
    assert answer(most) == f"{function:02X} FA" + " 00" * size
    assert answer(most + 1) == f"{function | 0x80:02X} 03"


@pytest.mark.parametrize(
    ("count", "size", "sent", "right"),
    [
        (1968, 246, 246, True),
        (1969, 247, 247, False),
        (0, 0, 0, False),
        (8, 2, 2, False),
        (9, 1, 1, False),
        (8, 1, 2, False),
        (8, 1, 0, False),
    ],
)
def test_coils_written_are_counted(large, count, size, sent, right):
    answer = ask(large, f"0F 00 00 {count:04X} {size:02X}" + "00" * sent)
    assert answer == (f"0F 00 00 {count >> 8:02X} {count & 255:02X}" if right else "8F 03")


@pytest.mark.parametrize(
    ("count", "size", "sent", "right"),
    [(123, 246, 246, True), (124, 248, 248, False), (0, 0, 0, False), (2, 2, 2, False),
     (2, 4, 2, False), (1, 2, 4, False)],
)  # fmt: skip
def test_registers_written_are_counted(large, count, size, sent, right):
    answer = ask(large, f"10 00 00 {count:04X} {size:02X}" + "00" * sent)
    assert answer == (f"10 00 00 00 {count:02X}" if right else "90 03")


@pytest.mark.parametrize(
    ("reads", "writes", "size", "right"),
    [(125, 121, 242, True), (126, 1, 2, False), (0, 1, 2, False), (1, 122, 244, False),
     (1, 0, 0, False), (1, 1, 4, False)],
)  # fmt: skip
def test_registers_written_and_read_are_counted(large, reads, writes, size, right):
    answer = ask(large, f"17 0000 {reads:04X} 0000 {writes:04X} {size:02X}" + "00" * size)
    assert answer == ("17 FA" + " 00" * 250 if right else "97 03")


# --- order of checks, figures 11 to 30 -----------------------------------------------------------
# Requests that are wrong in two ways: the code says which check came first.


@pytest.mark.parametrize(
    ("request_pdu", "answer"),
    [
        ("01 FF FF 00 00", "81 03"),  # figure 11: quantity, then address
        ("02 FF FF 07 D1", "82 03"),  # figure 12
        ("03 FF FF 00 7E", "83 03"),  # figure 13
        ("04 FF FF 00 00", "84 03"),  # figure 14
        ("05 FF FF 12 34", "85 03"),  # figure 15: value, then address
        ("05 FF FF FF 00", "85 02"),
        ("06 FF FF 00 03", "86 02"),  # figure 16: any value will do
        ("0F FF FF 00 08 02 00", "8F 03"),  # figure 21: quantity and byte count, then address
        ("10 FF FF 00 01 03 00 00", "90 03"),  # figure 22
        ("10 FF FF 00 01 02 00 00", "90 02"),
        ("16 FF FF 00 F2 00 25", "96 02"),  # figure 26: address, then masks
        ("17 FF FF 00 00 FF FF 00 01 02 00 00", "97 03"),  # figure 27: counts, then both ranges
        ("17 00 00 00 01 FF FF 00 01 02 00 00", "97 02"),
        ("17 FF FF 00 01 00 00 00 01 02 00 00", "97 02"),
        ("2B 0E 05 60", "AB 02"),  # figure 30: object, then code
        ("2B 0E 05 00", "AB 03"),
        ("2B 0E 00 00", "AB 03"),
        ("2B 0E 04 60", "AB 02"),
        ("2B 0D 04 00", "AB 01"),
    ],
)
def test_checks_come_in_the_order_of_the_figure(large, request_pdu, answer):
    assert ask(large, request_pdu) == answer


@pytest.mark.parametrize("function", [0x07, 0x08, 0x0B, 0x0C, 0x11, 0x14, 0x18, 0x41, 0x63, 0x7F])
def test_functions_that_the_panel_lacks_are_refused_as_such(large, function):
    assert ask(large, f"{function:02X} 00 00 00 01") == f"{function | 0x80:02X} 01"


@pytest.mark.parametrize(
    "request_pdu", ["03", "03 00 00 00", "03 00 00 00 01 00", "06 00 01 00", "16 00 04 00 F2 00",
                    "10 00 00 00 01", "17 00 00 00 01 00 00 00 01", "2B", "2B 0E 01"],
)  # fmt: skip
def test_a_request_of_wrong_length_is_a_wrong_value(large, request_pdu):
    function = int(request_pdu[:2], 16)
    assert ask(large, request_pdu) == f"{function | 0x80:02X} 03"


def test_a_refused_write_and_read_writes_nothing(device, words):
    served = device(*words("holding register", 0, 1, 2))
    assert ask(served, "17 00 05 00 01 00 00 00 01 02 00 09") == "97 02"
    assert ask(served, "03 00 00 00 01") == "03 02 00 01"


def test_other_units_and_empty_requests_get_silence(large):
    assert large.answer(2, bytes.fromhex("0300000001"), 1.0) is None
    assert large.answer(1, b"", 1.0) is None


# --- device identification, clause 6.21 ----------------------------------------------------------


def objects(answer):
    """(code, conformity, more, next, {id: bytes}) of an answer in hex."""
    data = bytes.fromhex(answer)
    found, at = {}, 7
    for _ in range(data[6]):
        found[data[at]] = data[at + 2 : at + 2 + data[at + 1]]
        at += 2 + data[at + 1]
    assert at == len(data) <= 253
    return data[2], data[3], data[4], data[5], found


IDENTITY = {"tag": "GDP-1", "name": "Ice arena", "vendor": "Maker", "product": "P", "revision": "3"}


def test_identity_says_that_the_panel_is_virtual(device, a_point):
    served = device(a_point("p", "coil", 0, "bit", "spare"), panel=IDENTITY)
    assert ask(served, "2B 0E 01 00") == (
        "2B 0E 01 82 00 00 03 00 05 4D 61 6B 65 72 01 01 50 02 01 33"
    )
    code, conformity, more, after, found = objects(ask(served, "2B 0E 02 00"))
    assert (code, conformity, more, after) == (2, 0x82, 0, 0)
    assert found[4] == b"Virtual panel, not a real one: Ice arena"
    assert found[6] == b"GDP-1"
    assert objects(ask(served, "2B 0E 03 00"))[4] == found


def test_identity_of_a_site_that_says_nothing_names_the_product(device, a_point):
    found = objects(ask(device(a_point("p", "coil", 0, "bit", "spare")), "2B 0E 01 00"))[4]
    assert found[0] == b"Gaswitness"
    assert found[1] == b"virtual panel"
    assert found[2]


def test_one_object_alone_comes_by_code_4(device, a_point):
    served = device(a_point("p", "coil", 0, "bit", "spare"), panel=IDENTITY)
    assert ask(served, "2B 0E 04 06") == "2B 0E 04 82 00 00 01 06 05 47 44 50 2D 31"


def test_a_stream_from_an_object_that_is_not_there_begins_anew(device, a_point):
    served = device(a_point("p", "coil", 0, "bit", "spare"), panel=IDENTITY)
    assert ask(served, "2B 0E 01 05") == ask(served, "2B 0E 01 00")


def test_long_identities_come_in_parts(make_site):
    extra = {0x80 + n: bytes([n]) * 120 for n in range(5)}
    served = VirtualDevice(VirtualPanel(make_site()), extra_identity=extra)
    found, first, parts = {}, 0, 0
    while True:
        _, conformity, more, after, some = objects(ask(served, f"2B 0E 03 {first:02X}"))
        assert conformity == 0x83
        found |= some
        parts += 1
        if not more:
            break
        assert more == 0xFF
        first = after
    assert {n: v for n, v in found.items() if n >= 0x80} == extra
    assert parts > 2


@pytest.mark.parametrize("extra", [{0x10: b"x"}, {0x80: b"x" * 245}])
def test_identity_objects_that_cannot_be_are_refused(make_site, extra):
    with pytest.raises(ValueError, match="object"):
        VirtualDevice(VirtualPanel(make_site()), extra_identity=extra)
