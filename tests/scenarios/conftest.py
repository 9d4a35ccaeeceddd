"""A script built in place, and someone to tell, for tests of drivers."""

from dataclasses import dataclass, field

import pytest

from gaswitness_scenarios.gas_profile import RampTo, StepTo
from gaswitness_scenarios.script import Expect, Gas, Look, Press, Say, Script
from gaswitness_sitefile.problems import Place


@dataclass
class Heard:
    """Everything that a driver tells, in order."""

    begun_s: list = field(default_factory=list)
    done_s: list = field(default_factory=list)
    looked: dict = field(default_factory=dict)
    skips: dict = field(default_factory=dict)
    remarks: list = field(default_factory=list)

    def begun(self, number, step, at_s):
        self.begun_s.append((number, at_s))

    def done(self, number, step, begun_s, done_s, *, looked=None):
        self.done_s.append((number, begun_s, done_s))
        if looked is not None:
            self.looked[number] = looked

    def skipped(self, number, step, at_s, reason):
        self.skips[number] = reason

    def remark(self, text, at_s):
        self.remarks.append(text)


@pytest.fixture
def heard():
    return Heard()


def place(line):
    return Place("test.yaml", line, 1)


def gas(at_s, channel, start, to, over_s=0.0):
    profile = RampTo(to, over_s) if over_s else StepTo(to)
    return Gas(
        at_s=at_s,
        place=place(1),
        words=f"Apply {to:g} to {channel}",
        channel=channel,
        start=start,
        profile=profile,
        over_s=over_s,
        lowest=min(start, to),
        highest=max(start, to),
    )


@pytest.fixture
def short_script():
    """Gas at 1 s, a question at 4 s, a key at 6 s; ends at 10 s."""
    return Script(
        name="short",
        title="A short script",
        text="",
        steps=(
            Say(at_s=0.0, place=place(1), words="We begin"),
            gas(1.0, "AT-1", 0.0, 30.0),
            Look(at_s=4.0, place=place(2), words="Look", fact="K1.active", question="Does K1 act?"),
            Expect(
                at_s=5.0,
                place=place(3),
                words="K1 acts",
                id="short/k1",
                fact="K1.active",
                within_s=1.0,
                value=True,
            ),
            Press(at_s=6.0, place=place(4), words="Press reset", key="reset"),
        ),
        length_s=10.0,
        sha256="ab" * 32,
        files=(),
    )
