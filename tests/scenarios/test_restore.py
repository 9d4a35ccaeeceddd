"""What is undone after a test that was broken off: played on a virtual panel, which must then be as
it was.
"""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gaswitness_scenarios.play import do_step
from gaswitness_scenarios.restore import built, keys_after, undoing
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site

DOING = [
    {"gas": {"channel": "AT-1", "to": "past A2"}},
    {"gas": {"channel": "AT-1", "to": "clean"}},
    {"gas": {"channel": "AT-3", "to": "past A1"}},
    {"fault": "AT-1"},
    {"fault_clear": "AT-1"},
    {"drop_out": "AT-1"},
    {"return": "AT-1"},
    {"inhibit": "AT-2"},
    {"uninhibit": "AT-2"},
    {"input": {"tag": "DI-1", "active": "on"}},
    {"input": {"tag": "DI-1", "active": "off"}},
    {"panel_fault": "on"},
    {"panel_fault": "off"},
    {"power": "off"},
    {"power": "on"},
    {"drift": {"channel": "AT-2", "zero": 5}},
    {"press": "mute"},
]
AT_REST = (
    "AT-1.fault",
    "AT-2.inhibit",
    "DI-1.active",
    "panel.fault",
    "AT-1.A1",
    "AT-1.A2",
    "AT-3.A1",
)


def words(steps):
    return [step.words for step in steps]


@pytest.mark.parametrize(
    ("done", "undone"),
    [
        ([DOING[0]], ["Return AT-1 (Pit) to clean air"]),
        ([DOING[0], DOING[1]], []),
        ([DOING[3]], ["Mend the sensor fault of AT-1 (Pit)"]),
        ([DOING[5], DOING[4]], ["Put AT-1 (Pit) back on its bus"]),
        (
            [DOING[7], DOING[9]],
            [
                "Take the inhibit of AT-2 away",
                "Make the stop button DI-1 (Stop at the door) inactive",
            ],
        ),
        ([DOING[13], DOING[14]], []),
        ([DOING[16]], []),
    ],
)
def test_only_what_still_stands_is_undone(done, undone):
    assert words(undoing(SITE, built(SITE, done))) == undone


def test_what_may_not_have_been_done_is_undone_and_what_it_undoes_is_undone_again():
    (fault,) = built(SITE, [{"fault": "AT-1"}])
    (mend,) = built(SITE, [{"fault_clear": "AT-1"}])
    assert words(undoing(SITE, [], fault)) == ["Mend the sensor fault of AT-1 (Pit)"]
    assert words(undoing(SITE, [fault], mend)) == ["Mend the sensor fault of AT-1 (Pit)"]
    assert undoing(SITE, [fault, mend]) == ()


def test_keys_are_pressed_where_an_alarm_may_have_come():
    assert words(keys_after(SITE, built(SITE, [DOING[0]]))) == [
        "Press reset at the panel",
        "Press accept at the panel",
    ]
    assert keys_after(SITE, built(SITE, [{"say": "Nothing."}])) == ()


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(DOING), max_size=8))
def test_after_it_the_panel_is_at_rest(done):
    panel = VirtualPanel(SITE)
    at_s = 100.0
    steps = built(SITE, done)
    for step in steps:
        do_step(step, panel, at_s)
        at_s += 7.0
    for step in undoing(SITE, steps):
        do_step(step, panel, at_s)
    at_s += 600.0
    for step in keys_after(SITE, steps):
        do_step(step, panel, at_s)
    at_s += 600.0
    panel.advance(at_s)
    assert [fact for fact in AT_REST if panel.fact(fact)] == []
    assert panel.fact("panel.unaccepted") is False
