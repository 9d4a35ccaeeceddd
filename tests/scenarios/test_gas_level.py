from dataclasses import dataclass

import pytest

from gaswitness_scenarios.gas_level import gas_level
from gaswitness_sitefile.channel import Channel

AMMONIA = Channel.model_validate(
    {
        "tag": "AT-1",
        "gas": "NH3",
        "unit": "ppm",
        "range": [0, 100],
        "levels": {"A1": {"setpoint": 25}, "A2": {"setpoint": 35}},
    }
)
OXYGEN = Channel.model_validate(
    {
        "tag": "AT-2",
        "gas": "O2",
        "unit": "%vol",
        "range": [5, 25],
        "levels": {
            "A1": {"setpoint": 19.5, "direction": "falling", "setpoint_tolerance": 0.2},
            "A3": {"setpoint": 23.5, "setpoint_tolerance": 0.2},
        },
    }
)


@dataclass
class Case:
    written: float | str
    channel: Channel
    level: float


CASES = [
    Case(27.5, AMMONIA, 27.5),
    Case("27.5", AMMONIA, 27.5),
    Case("clean", AMMONIA, 0.0),
    Case("clean", OXYGEN, 20.9),
    Case("50 % of range", AMMONIA, 50.0),
    Case("50% of range", OXYGEN, 15.0),
    Case("over range", AMMONIA, 130.0),
    Case("A1", AMMONIA, 25.0),
    Case("A1*1.1", AMMONIA, 27.5),
    Case("A1 * 1.1", AMMONIA, 27.5),
    Case("A2-2", AMMONIA, 33.0),
    Case("A1 + 1", AMMONIA, 26.0),
    # The default tolerance is 5 % of the setpoint here, 1.25 ppm; three of them are 3.75 ppm.
    Case("past A1", AMMONIA, 28.75),
    Case("short of A1", AMMONIA, 21.25),
    Case("past A1", OXYGEN, 18.9),
    Case("short of  A1", OXYGEN, 20.1),
    Case("past A3", OXYGEN, 24.1),
    Case("short of A3", OXYGEN, 22.9),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.channel.tag} {case.written}")
def test_level_is_what_its_words_say(case):
    assert gas_level(case.written, case.channel) == pytest.approx(case.level, abs=1e-9)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("A3", "AT-1 has no alarm level A3: its levels are A1, A2"),
        ("past A3", "AT-1 has no alarm level A3: its levels are A1, A2"),
        ("cleen", "did you mean clean?"),
        ("lots", "'lots' is not a level of gas: write a number"),
        ("A1 / 2", "is not a level of gas"),
        (-1, "-1 ppm of NH3 cannot be: write a level from 0 to 1e\\+06 ppm"),
        (1_000_001, "ppm of NH3 cannot be"),
        (float("nan"), "cannot be"),
        ("A1 * -1", "cannot be"),
    ],
)
def test_level_that_cannot_be_is_refused_with_a_remedy(written, said):
    with pytest.raises(ValueError, match=said):
        gas_level(written, AMMONIA)


def test_more_than_all_of_the_air_is_refused():
    assert gas_level(100, OXYGEN) == 100
    with pytest.raises(ValueError, match="from 0 to 100 %vol"):
        gas_level(101, OXYGEN)
