"""Sites for the simulator's tests, made from plain data."""

from collections.abc import Callable
from typing import Any

import pytest

from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import GasTo
from gaswitness_simulator.stimulus import Step as GasStep
from gaswitness_sitefile.site import Site

SiteMaker = Callable[..., Site]


def channel(tag="AT-1", **facts) -> dict[str, Any]:
    """A flammable-gas channel, 0 to 100 %LEL, without lag or noise unless told otherwise."""
    return {
        "tag": tag,
        "gas": "CH4",
        "unit": "%LEL",
        "range": [0, 100],
        "t90_s": 0,
        "levels": {"A1": {"setpoint": 20, "hysteresis": 2}},
        **facts,
    }


def point(name, table, address, kind, shows, **more) -> dict[str, Any]:
    return {
        "name": name, "table": table, "address": address, "type": kind, "shows": shows, **more
    }  # fmt: skip


def cell(cause, effect, **more) -> dict[str, Any]:
    return {"cause": cause, "effect": effect, "response_s": 3, **more}


def made(**parts) -> Site:
    """One channel, scanned every second, reads showing the state itself, unless told otherwise."""
    plain: dict[str, Any] = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "timing": {"scan_s": 1, "refresh_s": 0, "warm_up_s": 0},
        "channels": [channel()],
        "points": [point("reading", "holding register", 0, "float32", "AT-1.reading")],
    }
    return Site.model_validate({**plain, **parts})


@pytest.fixture(scope="session")
def make_site() -> SiteMaker:
    return made


@pytest.fixture(scope="session")
def a_channel() -> Callable[..., dict[str, Any]]:
    return channel


@pytest.fixture(scope="session")
def a_point() -> Callable[..., dict[str, Any]]:
    return point


@pytest.fixture(scope="session")
def a_cell() -> Callable[..., dict[str, Any]]:
    return cell


class Bench:
    """A virtual panel: each thing done to it is followed by two scans, a second apart.

    `events`: (second, subject, what) of all that the panel's log would say."""

    def __init__(self, site, seed=0):
        self.events = []
        self.panel = VirtualPanel(site, seed=seed, on_event=self._heard)

    def _heard(self, event):
        self.events.append((event.at_s, event.subject, event.what))

    def do(self, *stimuli, wait_s=2.0):
        for stimulus in stimuli:
            self.panel.apply(stimulus, self.panel.now_s)
        return self.wait(wait_s)

    def gas(self, tag, level, wait_s=2.0):
        return self.do(GasTo(tag, GasStep(level)), wait_s=wait_s)

    def wait(self, for_s):
        self.panel.advance(self.panel.now_s + for_s)
        return self

    def stretches(self, fact, for_s, step_s=0.05):
        """How long the fact was true each time within the next `for_s`, to the step."""
        found, begun_s = [], None
        end_s = self.panel.now_s + for_s
        while self.panel.now_s < end_s:
            on = self.panel.fact(fact)
            if on and begun_s is None:
                begun_s = self.panel.now_s
            if not on and begun_s is not None:
                found.append(round(self.panel.now_s - begun_s, 2))
                begun_s = None
            self.wait(step_s)
        if begun_s is not None:
            found.append(float("inf"))
        return found

    def since(self, mark):
        """What happened after so many events, without its times."""
        return [(subject, what) for _, subject, what in self.events[mark:]]

    def __getitem__(self, fact):
        return self.panel.fact(fact)


@pytest.fixture(scope="session")
def make_bench():
    return Bench
