"""Which points the words of `pace.fast` mean, on the good cellar."""

import pytest

from gaswitness_sitefile.fast_points import fast_points


def named(changed, loaded, what):
    fast = f"fast: {{period_s: 0.1, what: [{what}]}}"
    return sorted(fast_points(loaded(changed(("request_gap_s: 0.02", fast))).site))


@pytest.mark.parametrize(
    ("what", "names"),
    [
        ("readings", ["co2", "lpg", "o2"]),
        ("levels", ["hall flags", "lpg state", "pit A1", "pit A2"]),
        ("faults", ["fault", "hall flags", "lpg state", "pit fault"]),
        ("inhibits", ["lpg state"]),
        ("inputs", ["stop"]),
        ("outputs", ["fan runs", "fault coil", "horn", "lamp"]),
        ("AT-2", ["o2", "pit A1", "pit A2", "pit fault"]),
        ("inputs, K-HORN", ["horn", "stop"]),
    ],
)
def test_a_word_means_the_points_that_show_it(changed, loaded, what, names):
    assert named(changed, loaded, what) == names


def test_without_fast_no_point_is_fast(cellar_text, loaded):
    assert fast_points(loaded(cellar_text).site) == frozenset()


def test_what_is_only_written_is_never_read_fast(changed, loaded):
    text = changed(
        ("request_gap_s: 0.02", "fast: {period_s: 0.1, what: [outputs]}"),
        ("type: bit, shows: K-HORN.active", "type: bit, shows: K-HORN.active, access: w"),
    )
    assert "horn" not in fast_points(loaded(text).site)
