"""Amounts of gas that no register shows for another's, nor read in another way."""

import struct
from itertools import combinations

import pytest

from gaswitness_scenarios.plan_signature import signatures
from gaswitness_sitefile.site import Site


def made(count, *, kind="float32", scale=1.0, order="ABCD", tolerance=3):
    tags = [f"AT-{number}" for number in range(1, count + 1)]
    width = 1 if kind.endswith("16") else 2
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "P"},
            "channels": [
                {
                    "tag": tag,
                    "gas": "NH3",
                    "unit": "ppm",
                    "range": [0, 100],
                    "noise": 0.2,
                    "tolerance": tolerance,
                    "levels": {"A1": {"setpoint": 25}, "A2": {"setpoint": 35}},
                }
                for tag in tags
            ],
            "points": [
                {
                    "name": tag,
                    "table": "input register",
                    "address": width * at,
                    "type": kind,
                    "order": order,
                    "scale": scale,
                    "shows": f"{tag}.reading",
                }
                for at, tag in enumerate(tags)
            ],
        }
    )


@pytest.mark.parametrize("count", [2, 11, 24, 60])
def test_any_two_channels_differ_by_more_than_their_tolerance_at_some_amount(count):
    found = signatures(made(count))
    assert len(found) == count
    for one, other in combinations(found.values(), 2):
        apart = [abs(a - b) for a, b in zip(one.amounts, other.amounts, strict=True)]
        assert max(apart) > 3 + 0.2, (one, other)


def test_the_amounts_of_one_channel_differ_so_that_a_wrong_scale_shows():
    for signature in signatures(made(11)).values():
        first, second = signature.amounts
        assert abs(first - second) > 6
        assert all(abs(10 * amount - amount) > 6 for amount in signature.amounts)


def test_they_lie_in_the_range_and_clear_of_setpoints():
    for signature in signatures(made(24)).values():
        for amount in signature.amounts:
            assert 0 < amount < 100
            assert all(abs(amount - setpoint) > 1.2 for setpoint in (25, 35))


@pytest.mark.parametrize("order", ["ABCD", "CDAB", "BADC", "DCBA"])
def test_a_float_read_in_another_order_is_another_number(order):
    """IEEE 754 binary32, packed by the standard library."""
    for signature in signatures(made(11, order=order)).values():
        for amount in signature.amounts:
            a, b, c, d = struct.pack(">f", amount)
            for swapped in ((c, d, a, b), (b, a, d, c), (d, c, b, a)):
                (value,) = struct.unpack(">f", bytes(swapped))
                assert not abs(value - amount) <= 3.2


def test_a_coarse_range_still_gets_amounts():
    """So wide a tolerance leaves fewer amounts than channels: the best that there is."""
    found = signatures(made(12, tolerance=30))
    assert all(len(signature.amounts) == 2 for signature in found.values())
