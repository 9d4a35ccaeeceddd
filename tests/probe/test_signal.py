"""The judge's algebra against brute force on sampled timelines, and its refusal to be unsure twice.

The brute force knows nothing of signals: it writes out every boolean timeline on a grid that a
three-valued one allows, runs the panel's rule on each, and collects what came out.
"""

from itertools import product
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_probe.signal import (
    ALWAYS_FALSE,
    ALWAYS_TRUE,
    ALWAYS_UNKNOWN,
    FALSE,
    TRUE,
    UNKNOWN,
    Event,
    Signal,
    Truth,
    Window,
    all_of,
    any_of,
    at_least,
    falls,
    from_changes,
    held,
    held_for,
    kept_for,
    latched,
    negation,
    remembered,
    rises,
)

STEPS = 9
values = st.sampled_from(list(Truth))
timelines = st.lists(values, min_size=STEPS, max_size=STEPS)


def on_grid(timeline: list[Truth]) -> Signal:
    """The signal that has timeline[i] on [i, i+1); its ends go on for ever."""
    return from_changes(timeline[0], [(float(i), v) for i, v in enumerate(timeline) if i])


def grid(signal: Signal) -> list[Truth]:
    return [signal.at(i + 0.5) for i in range(STEPS)]


def possible(timeline: list[Truth]) -> list[tuple[bool, ...]]:
    """Every boolean timeline that the three-valued one allows."""
    options = {FALSE: (False,), TRUE: (True,), UNKNOWN: (False, True)}
    return list(product(*(options[value] for value in timeline)))


def hull(results: list[tuple[bool, ...]]) -> list[Truth]:
    """What holds in every result is known; the rest is not."""
    return [
        TRUE if all(column) else UNKNOWN if any(column) else FALSE
        for column in zip(*results, strict=True)
    ]


def sound(computed: list[Truth], brute: list[Truth]) -> bool:
    """Nothing is claimed that brute force does not confirm."""
    return all(
        mine is UNKNOWN or mine is theirs for mine, theirs in zip(computed, brute, strict=True)
    )


def refined(coarse: list[Truth], fine: list[Truth]) -> bool:
    return all(a is UNKNOWN or a is b for a, b in zip(coarse, fine, strict=True))


# Rules of DEVELOPERS.md on a grid of whole seconds, written for one boolean timeline.


def brute_delay(timeline: tuple[bool, ...], delay: int) -> tuple[bool, ...]:
    """On once the timeline has been on for `delay` whole steps; it was for ever as it began."""
    return tuple(
        all(timeline[max(0, j)] for j in range(i - delay, i + 1)) for i in range(len(timeline))
    )


def brute_latch(timeline: tuple[bool, ...], reset_at: int | None) -> tuple[bool, ...]:
    on = False
    result = []
    for i, now in enumerate(timeline):
        if now:
            on = True
        elif reset_at == i:
            on = False
        result.append(on)
    return tuple(result)


@given(timelines, timelines)
def test_and_or_not_follow_kleene(a: list[Truth], b: list[Truth]) -> None:
    assert grid(all_of([on_grid(a), on_grid(b)])) == [min(p) for p in zip(a, b, strict=True)]
    assert grid(any_of([on_grid(a), on_grid(b)])) == [max(p) for p in zip(a, b, strict=True)]
    assert grid(negation(on_grid(a))) == [Truth(2 - v) for v in a]


@given(st.lists(timelines, min_size=3, max_size=3), st.integers(1, 3))
def test_votes_agree_with_counting_every_possibility(three: list[list[Truth]], need: int) -> None:
    computed = grid(at_least(need, [on_grid(t) for t in three]))
    for i in range(STEPS):
        ways = [
            sum(w) >= need
            for w in product(*(possible([t[i]]) for t in three))
            for w in [[x[0] for x in w]]
        ]
        assert computed[i] is (TRUE if all(ways) else UNKNOWN if any(ways) else FALSE)


@given(timelines, st.integers(0, 3))
@settings(max_examples=60)
def test_delay_is_exactly_what_brute_force_allows(a: list[Truth], delay: int) -> None:
    computed = grid(held_for(on_grid(a), Window(float(delay), float(delay))))
    brute = hull([brute_delay(t, delay) for t in possible(a)])
    assert computed == brute


@given(timelines, st.integers(0, 2), st.integers(0, 2))
@settings(max_examples=60)
def test_delay_within_a_window_claims_nothing_too_much(
    a: list[Truth], low: int, extra: int
) -> None:
    computed = grid(held_for(on_grid(a), Window(float(low), float(low + extra))))
    brute = hull([brute_delay(t, d) for t in possible(a) for d in range(low, low + extra + 1)])
    assert sound(computed, brute)
    assert [v for v in computed if v is not UNKNOWN] or UNKNOWN in brute


@given(timelines, st.integers(0, 3))
def test_off_delay_is_on_delay_of_the_opposite(a: list[Truth], delay: int) -> None:
    window = Window(float(delay), float(delay))
    assert kept_for(on_grid(a), window) == negation(held_for(negation(on_grid(a)), window))


@given(timelines, st.one_of(st.none(), st.integers(1, STEPS - 2)))
@settings(max_examples=60)
def test_latch_claims_nothing_too_much(a: list[Truth], reset_at: int | None) -> None:
    resets = [] if reset_at is None else [Window(float(reset_at), reset_at + 0.5)]
    computed = latched(on_grid(a), resets, initial=FALSE)
    brute = hull([brute_latch(t, reset_at) for t in possible(a)])
    after = [computed.at(i + 0.75) for i in range(STEPS)]
    assert sound(after, brute)


@given(timelines, timelines)
@settings(max_examples=60)
def test_held_memory_claims_nothing_too_much(a: list[Truth], b: list[Truth]) -> None:
    def brute(sets: tuple[bool, ...], clears: tuple[bool, ...]) -> tuple[bool, ...]:
        on, result = False, []
        for s, c in zip(sets, clears, strict=True):
            on = True if s else False if c else on
            result.append(on)
        return tuple(result)

    a, b = a[:6] + [FALSE] * 3, b[:6] + [FALSE] * 3
    computed = grid(held(on_grid(a), on_grid(b), initial=FALSE))
    assert sound(computed, hull([brute(s, c) for s in possible(a) for c in possible(b)]))


@given(timelines, st.lists(values, min_size=STEPS, max_size=STEPS), st.integers(0, 3))
def test_a_refined_signal_never_changes_what_is_known(
    fine: list[Truth], mask: list[Truth], delay: int
) -> None:
    coarse = [UNKNOWN if m is UNKNOWN else v for v, m in zip(fine, mask, strict=True)]
    window = Window(float(delay), delay + 1.0)
    resets = [Window(3.0, 4.0)]
    for rule in (
        lambda s: held_for(s, window),
        lambda s: kept_for(s, window),
        lambda s: latched(s, resets),
        lambda s: all_of([s, ALWAYS_UNKNOWN]),
        lambda s: held(s, negation(s)),
    ):
        assert refined(grid(rule(on_grid(coarse))), grid(rule(on_grid(fine))))


def test_a_fall_alone_never_clears_a_latch() -> None:
    signal = from_changes(FALSE, [(2.0, TRUE), (3.0, FALSE)])
    assert latched(signal, [], initial=FALSE).at(100.0) is TRUE


def test_reset_with_the_cause_present_holds() -> None:
    signal = from_changes(FALSE, [(2.0, TRUE)])
    assert latched(signal, [Window(5.0, 6.0)], initial=FALSE).throughout(TRUE, 2.0, 100.0)


def test_reset_after_the_cause_clears_by_its_end_and_may_before() -> None:
    signal = from_changes(FALSE, [(2.0, TRUE), (3.0, FALSE)])
    latch = latched(signal, [Window(5.0, 7.0)], initial=FALSE)
    assert [latch.at(t) for t in (4.9, 5.0, 6.9, 7.0)] == [TRUE, UNKNOWN, UNKNOWN, FALSE]


def test_unknown_latch_seen_on_stays_on_until_a_reset() -> None:
    signal = from_changes(UNKNOWN, [(6.0, FALSE)])
    seen_on = from_changes(UNKNOWN, [(2.0, TRUE), (3.0, UNKNOWN)])
    latch = latched(signal, [Window(8.0, 9.0)], seen_on=seen_on)
    assert latch.at(1.0) is UNKNOWN
    assert latch.throughout(TRUE, 2.0, 7.9)
    assert latch.at(8.5) is UNKNOWN
    assert latch.at(9.5) is FALSE


def test_latch_seen_on_while_a_reset_may_act_is_not_sure_of_itself() -> None:
    signal = from_changes(UNKNOWN, [(6.0, FALSE)])
    seen_on = from_changes(UNKNOWN, [(2.0, TRUE), (3.0, UNKNOWN)])
    assert latched(signal, [Window(1.0, 4.0)], seen_on=seen_on).at(5.0) is UNKNOWN


def test_unknown_latch_seen_off_is_off() -> None:
    signal = from_changes(UNKNOWN, [(1.0, FALSE)])
    seen_off = from_changes(UNKNOWN, [(4.0, TRUE)])
    latch = latched(signal, [], seen_off=seen_off)
    assert [latch.at(3.0), latch.at(4.0)] == [UNKNOWN, FALSE]


def test_power_cut_may_lose_a_latch() -> None:
    signal = from_changes(FALSE, [(2.0, TRUE), (3.0, FALSE)])
    latch = latched(signal, [], initial=FALSE, broken=[Window(5.0, 6.0)])
    assert [latch.at(4.0), latch.at(5.5), latch.at(9.0)] == [TRUE, UNKNOWN, UNKNOWN]


def test_rises_are_sure_only_between_known_values() -> None:
    signal = from_changes(
        FALSE, [(1.0, UNKNOWN), (2.0, TRUE), (5.0, UNKNOWN), (6.0, TRUE), (8.0, UNKNOWN)]
    )
    assert rises(signal) == [
        Event(1.0, 2.0, sure=True),
        Event(5.0, 6.0, sure=False),
        Event(8.0, inf, sure=False),
    ]
    assert falls(ALWAYS_TRUE) == []


@pytest.mark.parametrize(
    ("sets", "clears", "at", "value"),
    [
        ([Event(1, 2)], [], 1.5, UNKNOWN),
        ([Event(1, 2)], [], 2.0, TRUE),
        ([Event(1, 2)], [Event(4, 5)], 5.0, FALSE),
        ([Event(1, 4)], [Event(3, 5)], 6.0, UNKNOWN),
        ([Event(1, 2)], [Event(4, 5, sure=False)], 6.0, UNKNOWN),
        ([Event(1, 2, sure=False)], [], 3.0, UNKNOWN),
    ],
)
def test_memory_of_events(sets: list[Event], clears: list[Event], at: float, value: Truth) -> None:
    assert remembered(sets, clears, FALSE).at(at) is value


def test_empty_all_and_any() -> None:
    assert all_of([]) == ALWAYS_TRUE
    assert any_of([]) == ALWAYS_FALSE
