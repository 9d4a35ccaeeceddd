"""A small site and the verdicts of a run on it, made by hand: what the outputs are tested with."""

import pytest

from gaswitness.about import AboutRun, NamedDigest
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Proof, Verdict
from gaswitness_scenarios.plan_outcome import PlanOutcome, PlayedTest, outcomes_of_tests
from gaswitness_sitefile.site import Site

# SHA-256 of "abc": FIPS 180-2 appendix B.1.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
VOTE = "2oo3(AT-101.A2, AT-102.A2, AT-103.A2)"


@pytest.fixture
def site() -> Site:
    levels = {"A1": {"setpoint": 20.0}, "A2": {"setpoint": 40.0}}
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GDP-7"},
            "channels": [
                {"tag": tag, "gas": "CH4", "unit": "%LEL", "range": (0, 100), "levels": levels}
                for tag in ("AT-101", "AT-102", "AT-103")
            ],
            "outputs": [
                {"tag": "BN-1", "kind": "beacon", "name": "Beacon over the door"},
                {"tag": "XV-1", "kind": "valve", "normally_energised": True},
                {"tag": "K9", "kind": "relay"},
            ],
            "matrix": [
                {"cause": "AT-101.A1", "effect": "BN-1", "response_s": 3.0},
                {"cause": VOTE, "effect": "BN-1", "response_s": 3.0},
                {"cause": VOTE, "effect": "XV-1", "response_s": 5.0, "on_delay_s": 2.0},
                {"cause": "panel.fault", "effect": "XV-1", "response_s": 5.0},
            ],
            "points": [
                {
                    "name": "AT-101 reading",
                    "table": "input register",
                    "address": 0,
                    "type": "int16",
                    "shows": "AT-101.reading",
                }
            ],
        }
    )


@pytest.fixture
def verdicts() -> tuple[Verdict, ...]:
    return (
        Verdict("point/AT-101 reading", Kind.POINT, Outcome.PROVEN, "20 %LEL", "20 %LEL"),
        Verdict(
            "cell/AT-101.A1 > BN-1",
            Kind.CELL,
            Outcome.PROVEN,
            expected="BN-1 acts within 3 s",
            seen="it did",
            response_s=(1.8, 2.4),
            proof=Proof.WITNESSED,
        ),
        Verdict(
            f"cell/{VOTE} > BN-1",
            Kind.CELL,
            Outcome.FAILED,
            expected="BN-1 acts within 3 s",
            seen="BN-1 was still off 9.0 s after the cause came",
            because="the effect did not come",
            aspects=(
                Aspect("rise", Outcome.FAILED, because="the effect did not come", at_s=61.25),
                Aspect("fall", Outcome.FAILED, because="it was on with no cause", at_s=99.0),
            ),
        ),
        Verdict(
            f"cell/{VOTE} > XV-1",
            Kind.CELL,
            Outcome.INCONCLUSIVE,
            expected="XV-1 acts within 7 s",
            seen="it came after 6.5 s to 7.5 s",
            response_s=(6.5000004, 7.5),
            because="the limit lies inside what was measured: poll every 0.25 s to settle it",
        ),
        Verdict("cell/panel.fault > XV-1", Kind.CELL, Outcome.NOT_RUN, "XV-1 acts within 5 s"),
    )


@pytest.fixture
def about() -> AboutRun:
    return AboutRun(
        command="rehearse",
        software="gaswitness 0.1.0",
        panel="GDP-7",
        site=NamedDigest("site.yaml", ABC),
        scripts=(NamedDigest("voting", ABC),),
        link="memory",
        driver="simulator",
        seed=7,
        clock="virtual",
        span_s=(0.0, 725.0),
    )


@pytest.fixture
def of_plan(verdicts: tuple[Verdict, ...]) -> tuple[PlanOutcome, ...]:
    """Of a plan: one proven, one failed, one whose claim is misspelt, one skipped, one that never
    came."""
    good, bad = "cell/AT-101.A1 > BN-1", f"cell/{VOTE} > BN-1: rise"
    return outcomes_of_tests(
        [
            PlayedTest("T-1", "the first", 2, (good,), 10.0, 40.0),
            PlayedTest("T-2", "a vote", 1, (bad,), 50.0, 90.0),
            PlayedTest("T-3", "another", 1, (f"{good}: rizes",), 91.0, 95.0),
            PlayedTest("T-4", "on the roof", 1, (good,), 95.0, 95.0, "skipped", "no ladder"),
            PlayedTest("T-5", "the last", 0, (good,), 0.0, 0.0, "not begun"),
        ],
        verdicts,
    )
