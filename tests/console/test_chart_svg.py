"""Charts as SVG: well-formed, self-contained, labelled, and no short event is lost.

Names of elements and attributes: SVG 1.1 (second edition), W3C, chapters 5, 8, 9, 10, 13.
"""

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from gaswitness.chart import (
    Band,
    Bar,
    Chart,
    Curve,
    Limit,
    Mark,
    Plot,
    Shade,
    State,
    Stretch,
    Strip,
)
from gaswitness.chart_svg import chart_svg

SVG = "{http://www.w3.org/2000/svg}"
HOUR = 3600.0


def chart(*strips, **more):
    given = {
        "title": "Gas & <alarms>",
        "about": ("One line.",),
        "summary": "A1 on from 0:01 to 0:02.",
        "axis": "time, in min:s",
        "from_s": 0.0,
        "to_s": 8 * HOUR,
    }
    return Chart(strips=strips, **(given | more))


def drawn(made, **options):
    return ElementTree.fromstring(chart_svg(made, **options))


def texts(root):
    return [one.text for one in root.iter(f"{SVG}text")]


def paths(root):
    """The points of each line of a plot."""
    return [
        [tuple(map(float, pair)) for pair in re.findall(r"[ML]([0-9.]+) ([0-9.]+)", one.get("d"))]
        for one in root.iter(f"{SVG}path")
        if one.get("stroke-linejoin") == "round"
    ]


def bars(root, colour="#222222"):
    return [one for one in root.iter(f"{SVG}rect") if one.get("fill") == colour]


def test_one_sample_of_eight_hours_reaches_its_height_in_the_drawn_line():
    points = tuple((at * 0.5, 30.0 if at == 20_011 else 0.1 * (at % 3)) for at in range(57_600))
    strip = Strip("AT-1", Plot("%LEL", (Curve("reading", points),), (), 0.0, 30.0))
    (line,) = paths(drawn(chart(strip)))
    heights = [y for _, y in line]
    assert len(line) < 5000
    assert min(heights) < max(heights) - 90
    assert sorted(heights)[1] > max(heights) - 3


def test_an_alarm_of_one_scan_in_eight_hours_is_wide_enough_to_be_seen():
    alarm = (
        Stretch(0, 4 * HOUR, State.OFF),
        Stretch(4 * HOUR, 4 * HOUR + 0.5, State.ON),
        Stretch(4 * HOUR + 0.5, 8 * HOUR, State.OFF),
    )
    (bar,) = bars(drawn(chart(Strip("AT-1", bars=(Bar("A1", alarm),)))))
    assert float(bar.get("width")) == 1.5
    assert float(bar.get("x")) == pytest.approx(240 + 410)


def test_a_break_of_one_scan_in_a_long_stretch_is_cut_in():
    fan = (
        Stretch(0, 4 * HOUR, State.ON),
        Stretch(4 * HOUR, 4 * HOUR + 0.5, State.OFF),
        Stretch(4 * HOUR + 0.5, 8 * HOUR, State.ON),
    )
    root = drawn(chart(Strip("Outputs", bars=(Bar("F1", fan),))))
    cuts = [r for r in bars(root, "#ffffff") if r.get("width") == "1.5"]
    assert [float(cut.get("x")) for cut in cuts] == [650.0]


def test_the_unknown_is_hatched_and_said():
    lost = (Stretch(0, HOUR, State.OFF), Stretch(HOUR, 4 * HOUR, State.UNKNOWN))
    root = drawn(chart(Strip("V1", bars=(Bar("V1", lost),))), prefix="p7")
    assert len(bars(root, "url(#p7-unknown)")) == 1
    assert "unknown" in texts(root)
    assert root.find(f".//{SVG}pattern[@id='p7-unknown']") is not None


def test_a_gap_breaks_the_line():
    nan = float("nan")
    points = ((0.0, 1.0), (10.0, 2.0), (20.0, nan), (30.0, 3.0), (40.0, 4.0))
    plot = Plot("ppm", (Curve("reading", points),))
    assert len(paths(drawn(chart(Strip("AT-1", plot), to_s=40.0)))) == 2


def test_setpoints_are_named_beside_the_plot_and_do_not_overlap():
    limits = (
        Limit(19.5, "A1 19.5 %vol falling", 0, 60),
        Limit(19.4, "A2 19.4 %vol falling", 0, 60),
    )
    root = drawn(chart(Strip("O2", Plot("%vol", (), limits, 0.0, 25.0)), to_s=60.0))
    places = {
        one.text: float(one.get("y"))
        for one in root.iter(f"{SVG}text")
        if one.text and one.text[:2] in ("A1", "A2")
    }
    assert set(places) == {"A1 19.5 %vol falling", "A2 19.4 %vol falling"}
    assert places["A2 19.4 %vol falling"] - places["A1 19.5 %vol falling"] >= 13


def test_bands_are_labelled_and_listed_with_their_times():
    band = Band(0.0, 900.0, "warm-up", Shade.WAITING)
    inner = Band(7200.0, 7201.0, "AT-1 inhibited", Shade.ASIDE)
    root = drawn(chart(Strip("AT-1", bands=(inner,)), bands=(band,)))
    assert {"warm-up", "AT-1 inhibited"} <= set(texts(root))
    foot = "Shaded: warm-up 0:00.0 to 15:00.0; AT-1 inhibited 2:00:00.0 to 2:00:01.0."
    assert foot in texts(root)


def test_every_mark_has_its_number_its_time_and_its_words_in_the_list():
    marks = tuple(Mark(at * 100.0, at, (f"Step {at}",)) for at in range(1, 200))
    found = texts(drawn(chart(Strip("AT-1"), marks=marks)))
    assert {f"Step {at}" for at in range(1, 200)} <= set(found)
    assert {str(at) for at in range(1, 200)} <= set(found)
    badges = [one for one in found if re.fullmatch(r"\d+\u2013\d+", one or "")]
    assert badges


def test_badges_of_marks_do_not_overlap():
    marks = tuple(Mark(at * 61.0, at, ("x",)) for at in range(1, 300))
    root = drawn(chart(Strip("AT-1"), marks=marks))
    rounds = [
        (float(r.get("y")), float(r.get("x")), float(r.get("width")))
        for r in root.iter(f"{SVG}rect")
        if r.get("rx")
    ]
    rounds.sort()
    for (y, x, width), (next_y, next_x, _) in pairwise(rounds):
        assert y != next_y or next_x >= x + width


def test_it_is_whole_accessible_and_reaches_nothing_outside():
    text = chart_svg(chart(Strip("AT-1"), notes=("A note \x1b[31m.",)))
    root = ElementTree.fromstring(text)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "chart-title chart-desc"
    assert root.find(f"{SVG}title").text == "Gas & <alarms>"
    assert root.find(f"{SVG}desc").text == "A1 on from 0:01 to 0:02."
    assert "A note \\x1b[31m." in texts(root)
    assert re.findall(r"https?://[^\"]*", text) == ["http://www.w3.org/2000/svg"]
    assert not re.search(r"href|<image|<script|<style|@import|url\((?!#)", text)


def test_no_text_is_smaller_than_eleven():
    sizes = {
        float(one.get("font-size"))
        for one in drawn(
            chart(Strip("AT-1", Plot("ppm", (Curve("r", ((0, 1.0), (9, 2.0))),))))
        ).iter(f"{SVG}text")
    }
    assert min(sizes) >= 11


def test_a_label_that_had_to_be_cut_stands_in_full_at_the_foot():
    name = "K2 Common first alarm to building management"
    found = texts(drawn(chart(Strip("Outputs", bars=(Bar(name, ()), Bar("V1 Valve", ()))))))
    assert f"In full: {name}." in found
    assert name not in found
