"""Points: tables and their functions, widths, references."""

import pytest

from gaswitness_sitefile.points import WIDTHS, Order, Point, PointType, Table, reference


@pytest.mark.parametrize(
    ("table", "function", "of_bits", "writable"),
    [
        (Table.COIL, 1, True, True),
        (Table.DISCRETE_INPUT, 2, True, False),
        (Table.HOLDING, 3, False, True),
        (Table.INPUT, 4, False, False),
    ],
)
def test_tables_are_those_of_the_data_model(table, function, of_bits, writable):
    """V1.1b3 clauses 4.3 and 6.1 to 6.4."""
    assert (table.read_function, table.of_bits, table.writable) == (function, of_bits, writable)


def test_every_type_but_text_has_a_width():
    assert set(WIDTHS) == set(PointType) - {PointType.STRING}


def point(**changes):
    plain = {"name": "p", "table": "holding register", "address": 10, "type": "uint16"}
    return Point.model_validate({**plain, "shows": "spare", **changes})


@pytest.mark.parametrize(
    ("changes", "end"),
    [({}, 11), ({"type": "float32"}, 12), ({"type": "uint64"}, 14),
     ({"type": "string", "length": 6}, 16), ({"type": "bit in word", "bit": 3}, 11)],
)  # fmt: skip
def test_a_point_ends_where_the_next_may_begin(changes, end):
    assert point(**changes).end == end


def test_subject_and_aspect_are_split_at_the_first_dot():
    found = point(shows="AT-1.A2.setpoint")

    assert (found.subject, found.what) == ("AT-1", "A2.setpoint")


def test_a_bit_field_shows_a_fact_a_bit():
    found = point(type="bit field", shows="bits", bits={3: "AT-1.A1", 0: "AT-1.fault"})

    assert list(found.facts()) == [(0, "AT-1.fault"), (3, "AT-1.A1")]
    assert list(point(shows="AT-1.reading").facts()) == [(None, "AT-1.reading")]


@pytest.mark.parametrize(
    ("table", "address", "text"),
    [(Table.HOLDING, 0, "400001"), (Table.INPUT, 107, "300108"), (Table.COIL, 19, "000020"),
     (Table.DISCRETE_INPUT, 65535, "165536")],
)  # fmt: skip
def test_references_for_people_have_six_digits(table, address, text):
    assert reference(table, address) == text


@pytest.mark.parametrize(
    ("order", "low_word_first", "bytes_swapped"),
    [(Order.ABCD, False, False), (Order.CDAB, True, False), (Order.BADC, False, True),
     (Order.DCBA, True, True)],
)  # fmt: skip
def test_orders_are_two_choices(order, low_word_first, bytes_swapped):
    assert (order.low_word_first, order.bytes_swapped) == (low_word_first, bytes_swapped)
