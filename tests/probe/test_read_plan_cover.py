"""The cheapest cover against a search of every set of reads, whatever a read costs."""

import time
from itertools import accumulate

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_probe.read_plan_cover import Costs, Spot, cheapest_cover

LIMIT = 8


def serial(count):
    """Characters of a read of registers: 8 + 5 + 2N, and seven of silence."""
    return 20 + 2 * count


def bits(count):
    return 20 + (count + 7) // 8


def network(count):
    return 1


def cheap_start(count):
    """A slow line and a panel at once: what is read counts, how often it is asked does not."""
    return 1 + 2 * count


def stairs(count):
    """Rising by leaps, as where an answer fills one frame after another of some converter."""
    return 10 + 7 * (count // 3)


MODELS = [serial, bits, network, cheap_start, stairs]


def costs_of(model, ratio, limit=LIMIT):
    slow = [10 * model(count) for count in range(limit + 1)]
    return Costs(slow, [ratio * each for each in slow])


def least(spots, costs):
    """The least cost of all sets of reads, every start and length and both rates being tried.

    `best[held]` is the least cost of reads that hold the spots of the bit pattern `held`.
    """
    reads = {}
    for first in range(spots[0].first, max(s.end for s in spots)):
        for size in range(1, costs.limit + 1):
            for fast in (False, True):
                held = sum(
                    1 << n
                    for n, spot in enumerate(spots)
                    if first <= spot.first and spot.end <= first + size and fast >= spot.fast
                )
                price = costs.of(Spot(first, first + size, fast))
                reads[held] = min(price, reads.get(held, price))
    best = [0] + [float("inf")] * ((1 << len(spots)) - 1)
    for held in range(1 << len(spots)):
        for more, price in reads.items():
            best[held | more] = min(best[held | more], best[held] + price)
    return best[-1]


EITHER = st.booleans()


@st.composite
def stretches(draw, fast=EITHER):
    """Spots in one stretch of addresses; those that overlap have the same rate."""
    spots = []
    at = 0
    for _ in range(draw(st.integers(1, 6))):
        at += draw(st.integers(0, 6))
        rate = draw(fast)
        reach = at
        for _ in range(draw(st.sampled_from([1, 1, 1, 2]))):
            first = draw(st.integers(at, max(at, reach - 1)))
            end = first + draw(st.integers(1, 4))
            reach = max(reach, end)
            spots.append(Spot(first, end, rate))
        at = reach
    return sorted(spots, key=lambda s: s.first)


def holds(reads, spot):
    return any(r.first <= spot.first and spot.end <= r.end and r.fast >= spot.fast for r in reads)


@settings(deadline=None, max_examples=300)
@given(stretches(), st.sampled_from(MODELS), st.sampled_from([1, 2, 3, 10]))
def test_no_set_of_reads_is_cheaper(spots, model, ratio):
    costs = costs_of(model, ratio)
    reads = cheapest_cover(spots, costs)
    assert all(holds(reads, spot) for spot in spots)
    assert all(read.end - read.first <= LIMIT for read in reads)
    assert sum(costs.of(read) for read in reads) == least(spots, costs)


@settings(deadline=None, max_examples=100)
@given(stretches(fast=st.just(False)), st.sampled_from(MODELS))
def test_no_set_of_reads_is_cheaper_where_all_are_slow(spots, model):
    costs = costs_of(model, 5)
    reads = cheapest_cover(spots, costs)
    assert not any(read.fast for read in reads)
    assert sum(costs.of(read) for read in reads) == least(spots, costs)


def greedy(spots, limit):
    """Windows from left to right, each as long as may be: the fewest requests, whatever they
    cost."""
    reads = []
    left = list(spots)
    while left:
        start = left[0].first
        taken = [s for s in left if s.end <= start + limit]
        left = [s for s in left if s.end > start + limit]
        reads.append(Spot(start, max(s.end for s in taken)))
    return reads


@settings(deadline=None, max_examples=200)
@given(stretches(fast=st.just(False)), st.sampled_from(MODELS))
def test_never_worse_than_going_on_as_long_as_may_be(spots, model):
    costs = costs_of(model, 2)
    reads = cheapest_cover(spots, costs)
    assert sum(map(costs.of, reads)) <= sum(map(costs.of, greedy(spots, LIMIT)))
    if model is network:
        assert len(reads) == len(greedy(spots, LIMIT))


@settings(deadline=None, max_examples=300)
@given(
    stretches(),
    st.lists(st.sampled_from([0, 0, 1, 5, 30]), min_size=LIMIT + 1, max_size=LIMIT + 1),
    st.lists(st.sampled_from([0, 0, 1, 5, 30]), min_size=LIMIT + 1, max_size=LIMIT + 1),
)
def test_no_set_of_reads_is_cheaper_however_costs_rise(spots, slow, more):
    table = list(accumulate(slow, initial=7))[1:]
    costs = Costs(table, [a + b for a, b in zip(table, accumulate(more), strict=True)])
    reads = cheapest_cover(spots, costs)
    assert sum(costs.of(read) for read in reads) == least(spots, costs)


def test_what_beginning_later_saves_is_the_least_of_all_lengths():
    costs = Costs([0, 4, 4, 10, 11], [0, 40, 40, 100, 110])
    assert [costs.saved(n, fast=False) for n in range(4)] == [0, 0, 6, 7]
    assert costs.saved(2, fast=True) == 60


def test_a_wide_hole_is_not_read_over_on_a_slow_line():
    costs = Costs([20 + 2 * n for n in range(126)], [20 + 2 * n for n in range(126)])
    assert cheapest_cover([Spot(0, 1), Spot(11, 12)], costs) == (Spot(0, 12),)
    assert cheapest_cover([Spot(0, 1), Spot(12, 13)], costs) == (Spot(0, 1), Spot(12, 13))


def test_a_slow_spot_comes_along_where_that_is_cheaper():
    costs = costs_of(serial, 2)
    assert cheapest_cover([Spot(0, 1, True), Spot(1, 2)], costs) == (Spot(0, 2, True),)


def test_a_slow_read_passes_over_what_is_read_fast():
    costs = costs_of(cheap_start, 10)
    spots = [Spot(0, 3), Spot(3, 4, True), Spot(4, 7)]
    costs = Costs([100 + n for n in range(9)], [10 * (100 + 50 * n) for n in range(9)])
    assert cheapest_cover(spots, costs) == (Spot(0, 7), Spot(3, 4, True))


@pytest.mark.parametrize("ratio", [2, 10])
def test_a_large_map_of_both_rates_is_planned_in_no_time(ratio):
    """2,000 bits, every third fast; 500 registers, every second fast."""
    begun = time.perf_counter()
    cheapest_cover([Spot(n, n + 1, n % 3 == 0) for n in range(2000)], costs_of(bits, ratio, 2000))
    cheapest_cover([Spot(n, n + 1, n % 2 == 0) for n in range(500)], costs_of(serial, ratio, 125))
    assert time.perf_counter() - begun < 10.0
