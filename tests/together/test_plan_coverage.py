"""The coverage checker on a script made by hand, whole and with each part left out.

The script is written part by part, each from rest to rest; beside parts stands what the checker has
to say where they are missing.
"""

import pytest
from plan_coverage import missing_from

from gaswitness_scenarios.load import load_script
from gaswitness_sitefile.site import Site

VOTE = "2oo3(AT-1.A2, AT-2.A2, AT-3.A2)"
KEYED = "AT-1.A1 AND NOT DI-2.active"


@pytest.fixture(scope="module")
def site():
    levels = {
        "A1": {"setpoint": 20, "hysteresis": 2},
        "A2": {"setpoint": 40, "hysteresis": 2, "latching": True},
    }
    channels = [
        {"tag": f"AT-{n}", "gas": "CH4", "unit": "%LEL", "range": [0, 100], "levels": levels}
        for n in (1, 2, 3)
    ]
    matrix = [
        {"cause": VOTE, "effect": "K1"},
        {"cause": "DI-1.active", "effect": "V1", "latching": True},
        {"cause": "AT-1.A2", "effect": "S1"},
        {"cause": "AT-2.A2", "effect": "S1"},
        {"cause": KEYED, "effect": "F1"},
    ]
    outputs = [{"tag": tag, "kind": "relay"} for tag in ("K1", "V1", "F1")]
    shows = [f"AT-{n}.{what}" for n in (1, 2, 3) for what in ("A1", "A2", "fault", "inhibit")]
    shows += ["K1.active", "V1.active", "S1.active", "S1.muted", "F1.energised"]
    return Site.model_validate(
        {
            "gaswitness_site": 1,
            "panel": {"tag": "GP-1"},
            "timing": {"warm_up_s": 10},
            "channels": [{**one, "t90_s": 5} for one in channels],
            "inputs": [{"tag": "DI-1"}, {"tag": "DI-2"}],
            "outputs": [*outputs, {"tag": "S1", "kind": "sounder", "mutable": True}],
            "matrix": [{"response_s": 3, **one} for one in matrix],
            "points": [
                {
                    "name": one,
                    "shows": one,
                    "table": "discrete input",
                    "address": at,
                    "type": "bit",
                }
                for at, one in enumerate(shows)
            ],
        }
    )


def gas(tag, *levels, hold_s=25):
    return "".join(
        f"  - gas: {{channel: {tag}, to: {level}}}\n  - hold_s: {hold_s}\n" for level in levels
    )


def step(*texts):
    return "".join(f"  - {text}\n  - hold_s: 8\n" for text in texts)


def rest(tag):
    return gas(tag, "clean") + step("press: reset")


def alone(tag):
    """Both levels from just under, a reset that changes nothing, an inhibit, a fault in gas."""
    parts = gas(tag, 18.5, 24, 37, 50) + step(
        "press: reset", f"inhibit: {tag}", f"uninhibit: {tag}"
    )
    return parts + step(f"drop_out: {tag}", f"return: {tag}") + rest(tag)


def pair(one, other):
    up = gas(f"[{one}, {other}]", 50)
    held = step("press: reset", f"inhibit: {one}", f"uninhibit: {one}")
    held += step(f"inhibit: {other}", f"uninhibit: {other}")
    return up + held + rest(f"[{one}, {other}]")


def lower(one, other):
    """One past its second level, the other past its first alone: the vote does not fire."""
    return gas(one, 50) + gas(other, 24) + rest(f"[{one}, {other}]")


PARTS = {
    "readings": gas("AT-3", 10, 60, 90) + rest("AT-3"),
    "AT-1": alone("AT-1") + gas("AT-1", 80) + rest("AT-1"),
    "AT-2": alone("AT-2") + gas("AT-2", 80) + rest("AT-2"),
    "AT-3": gas("AT-3", 18.5, 24, 37, 50) + step("drop_out: AT-3", "return: AT-3") + rest("AT-3"),
    "1 and 2": pair("AT-1", "AT-2"),
    "1 and 3": pair("AT-1", "AT-3"),
    "2 and 3": pair("AT-2", "AT-3"),
    "lower": lower("AT-1", "AT-2") + lower("AT-1", "AT-3") + lower("AT-2", "AT-1"),
    "faults": "".join(step(f"fault: AT-{n}", f"fault_clear: AT-{n}") for n in (1, 2, 3)),
    "input": step(
        "input: {tag: DI-1, active: on}",
        "press: reset",
        "input: {tag: DI-1, active: off}",
        "press: reset",
    ),
    "key": step("input: {tag: DI-2, active: on}")
    + gas("AT-1", 25)
    + step("input: {tag: DI-2, active: off}")
    + rest("AT-1"),
    "mute": gas("AT-1", 50)
    + step("press: mute")
    + gas("AT-2", 50)
    + gas("[AT-1, AT-2]", "clean")
    + step("press: reset"),
    "supply": step("power: off", "power: on") + "  - hold_s: 20\n",
}


@pytest.fixture
def missing(site, tmp_path):
    def found(*left_out, instead=None):
        parts = PARTS | (instead or {})
        text = "".join(steps for name, steps in parts.items() if name not in left_out)
        path = tmp_path / "by-hand.yaml"
        path.write_text(f"gaswitness_script: 1\ntitle: By hand\nsteps:\n{text}", encoding="utf-8")
        return missing_from(site, load_script(path, site))

    return found


def test_the_whole_script_misses_nothing(missing):
    assert missing() == []


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ("readings, AT-3, lower", "AT-3: settled at 2 readings within its range, not at three"),
        ("AT-1", f"{KEYED} > F1: gas never stood just short of AT-1.A1 with it off"),
        ("AT-2", "AT-2.A2 > S1: gas never stood just short of AT-2.A2 with it off"),
        ("AT-3", f"{VOTE} > K1: gas never stood just short of AT-3.A2 with it off"),
        ("1 and 2, mute", f"{VOTE} > K1: never seen that AT-1.A2 and AT-2.A2 alone does it"),
        ("1 and 3", f"{VOTE} > K1: never seen that AT-1.A2 and AT-3.A2 alone does it"),
        ("2 and 3", f"{VOTE} > K1: never seen that AT-2.A2 and AT-3.A2 alone does it"),
        ("lower", f"{VOTE} > K1: never seen that AT-1.A1 is no vote beside 1 more"),
        ("lower", f"{VOTE} > K1: never seen that AT-3.A1 is no vote beside 1 more"),
        ("faults", f"{VOTE} > K1: no fault of AT-3 while AT-3.A2 was off"),
        ("input", "DI-1.active > V1: never seen to latch with its cause gone"),
        ("input", "DI-1.active > V1: never seen to go off by a reset after its cause"),
        ("input", "DI-1.active > V1: no reset pressed while its cause stands by itself"),
        ("input", "DI-1.active > V1: never seen to rise by itself"),
        ("input", "point V1.active: V1.active never on for long enough"),
        ("key", f"{KEYED} > F1: never off for NOT DI-2.active alone deciding"),
        ("mute", "S1: never muted while it acts"),
        ("mute", "S1: never sounds again after it was muted"),
        ("mute", "point S1.muted: S1.muted never on for long enough"),
        ("supply", "the supply is never lost"),
    ],
)
def test_what_is_left_out_is_said(missing, parts, said):
    found = missing(*parts.split(", "))
    assert any(one.startswith(said) for one in found), found


@pytest.mark.parametrize(
    ("part", "old", "new", "said"),
    [
        ("AT-1", "  - inhibit: AT-1\n", "", "AT-1.A2 > S1: never held off, or let go, by the inh"),
        ("AT-1", "press: reset", "press: accept", "AT-1.A2 > S1: no reset pressed while its cause"),
        ("AT-1", "drop_out: AT-1", "press: accept", "AT-1: its detector never drops out"),
        ("AT-1", "return: AT-1", "press: accept", "AT-1: its detector never returns"),
        ("AT-1", "drop_out: AT-1", "press: accept", "AT-1.A2 > S1: no fault of AT-1 while a level"),
        ("AT-1", "to: 18.5", "to: 12", f"{KEYED} > F1: gas never stood just short of AT-1.A1"),
        ("supply", "power: on", "press: accept", "the supply never returns"),
    ],
)
def test_a_step_that_is_another_is_said(missing, part, old, new, said):
    assert old in PARTS[part]
    others = {"mute": PARTS["mute"]} if "reset" not in old else {"mute": ""}
    changed = {part: PARTS[part].replace(old, new, 1), **others}
    found = missing("1 and 2", "1 and 3", "key", instead=changed)
    assert any(one.startswith(said) for one in found), found


def test_two_causes_at_once_show_neither(missing):
    """Both sound the same sounder: what one of them does by itself was not to be seen."""
    both = gas("[AT-1, AT-2]", 50) + rest("[AT-1, AT-2]")
    found = missing(
        "1 and 3", "2 and 3", "mute", "key", "lower", instead={"AT-1": both, "AT-2": ""}
    )
    assert "AT-1.A2 > S1: never seen to rise by itself" in found
    assert "AT-2.A2 > S1: never seen to fall by itself" in found


def test_what_is_muted_shows_nothing(missing):
    """Muted while its alarm stands, a sounder does not tell when the alarm goes."""
    muted = gas("AT-1", 50) + step("press: mute") + rest("AT-1")
    found = missing("1 and 2", "1 and 3", "mute", "key", "lower", instead={"AT-1": muted})
    assert "AT-1.A2 > S1: never seen to fall by itself" in found
    assert "AT-1.A2 > S1: never seen to rise by itself" not in found
