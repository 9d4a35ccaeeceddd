import asyncio

import pytest

from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.control import ControlError
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_scenarios.control_server import ControlServer
from gaswitness_scenarios.driver import StoppedError
from gaswitness_scenarios.driver_auto import AnchoredDriver, ControlledDriver, Offset
from gaswitness_scenarios.link_control import LinkControl
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator.link_fault_plan import FaultPlan


def test_an_anchored_script_has_the_slack_as_its_doubt(short_script, heard):
    async def play():
        clock = LoopClock()
        await clock.sleep_until(100.0)
        await AnchoredDriver(2.0).play(short_script, clock, heard)
        return clock.now()

    assert run_virtual(play()) == 112.0
    assert heard.done_s == [
        (1, 98.0, 102.0),
        (2, 99.0, 103.0),
        (4, 103.0, 107.0),
        (5, 104.0, 108.0),
    ]
    assert heard.skips == {3: "nobody is there to look"}
    assert "give or take 2 s" in heard.remarks[0]


def test_two_comparisons_of_clocks_leave_what_both_allow():
    assert Offset(-1.0, 2.0).narrowed(Offset(0.5, 3.0)) == Offset(0.5, 2.0)


def test_clocks_that_contradict_each_other_are_no_clocks():
    with pytest.raises(ControlError, match="does not go on at the speed that it announces"):
        Offset(0.0, 1.0).narrowed(Offset(1.5, 2.0))


class Panel:
    """A served panel's control channel, played by hand; its time runs 1000 s ahead."""

    def __init__(self, clock, script, state="waiting"):
        self.clock = clock
        self.script = script
        self.state = state
        self.server = ControlServer(
            self.greeting, self.start, self.now, LinkControl(FaultPlan(), self.now, print).command
        )

    def now(self):
        return self.clock.now() + 1000.0

    def greeting(self):
        scripts = [{"name": "short", "sha256": self.script.sha256, "state": self.state}]
        return {
            "gaswitness_control": 1,
            "panel_s": self.now(),
            "scripts": scripts,
            "speed": self.clock.speed,
        }

    def start(self, sha256):
        self.playing = asyncio.get_running_loop().create_task(self.play())
        return self.now()

    async def play(self):
        for number in (1, 3):
            at_s = self.now()
            base = {"script": self.script.sha256, "number": number, "begun_s": at_s}
            self.server.tell({"event": "begun", "done_s": None, "looked": None, **base})
            looked = True if number == 3 else None
            self.server.tell({"event": "done", "done_s": at_s, "looked": looked, **base})
            self.at_s = at_s - 1000.0
        self.server.tell({"event": "played", "script": self.script.sha256, "at_s": self.now()})


async def controlled(panel):
    await panel.server.listen()
    return ControlledDriver(await ControlClient.connect(panel.server.host, panel.server.port))


async def test_instants_of_a_served_panel_are_taken_over_with_the_doubt_of_the_exchange(
    short_script, heard
):
    clock = LoopClock()
    panel = Panel(clock, short_script)
    driver = await controlled(panel)
    await driver.play(short_script, clock, heard)
    assert heard.looked == {3: True}
    assert [number for number, _, _ in heard.done_s] == [1, 3]
    _, begun_s, done_s = heard.done_s[-1]
    assert begun_s <= panel.at_s <= done_s
    assert done_s - begun_s < 0.5
    await driver.close()
    await panel.server.close()


async def test_a_channel_that_ends_stops_the_script_in_words(short_script, heard):
    clock = LoopClock()
    panel = Panel(clock, short_script)
    panel.play = panel.server.close
    driver = await controlled(panel)
    with pytest.raises(StoppedError, match="closed its control channel"):
        await driver.play(short_script, clock, heard)
    await driver.close()


@pytest.mark.parametrize("state", ["playing", "played"])
async def test_a_script_that_is_under_way_already_is_refused(short_script, state):
    panel = Panel(LoopClock(), short_script, state)
    driver = await controlled(panel)
    with pytest.raises(ControlError, match="has already begun the script short"):
        driver.require(short_script)
    await driver.close()
    await panel.server.close()
