"""Scripts that are wrong, each in one way: what is said, and where."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gaswitness_scenarios.load import ScriptError, load_script
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.load import load_site

SITE = load_site(Path(__file__).parent / "a_site.yaml").site
HEAD = "gaswitness_script: 1\ntitle: T\nsteps:\n"


@dataclass
class Broken:
    """`where`: line and column; `says`: parts of the one line of the message."""

    name: str
    text: str | bytes
    where: str
    says: list[str] = field(default_factory=list)


def step(name, text, column, *says, line=4):
    return Broken(name, f"{HEAD}  - {text}\n", f"{line}:{column}", list(says))


def claiming(claim, *says):
    """A test with one claim more than its expectation."""
    text = (
        f'{HEAD}  - test:\n      id: T\n      title: T\n      proves:\n        - "{claim}"\n'
        "  - {expect: {name: it tripped, fact: K1.active, is: on, within_s: 1}}\n  - hold_s: 5\n"
    )
    return Broken(f"claims {claim}", text, "8:11", list(says))


CASES = [
    Broken("empty file", "", "1:1", ["the script is empty"]),
    Broken("remarks only", "# nothing\n", "1:1", ["only remarks"]),
    Broken("list at the root", "- a\n", "1:1", ["a list or a single value"]),
    Broken("not UTF-8", b"title: \xff\n", "1:8", ["UTF-8"]),
    Broken("bracket left open", f"{HEAD}  - gas: {{channel: AT-1\n", "5:1", ["bracket"]),
    Broken("tab", f"{HEAD}\t- hold_s: 1\n", "4:1", ["tab"]),
    Broken("key twice", "title: A\ntitle: B\n", "2:1", ["title stands twice"]),
    Broken("no steps", "gaswitness_script: 1\ntitle: T\n", "1:1", ["steps is missing"]),
    Broken("no step", "gaswitness_script: 1\ntitle: T\nsteps: []\n", "3:1", ["at least 1"]),
    Broken(
        "unknown version",
        "gaswitness_script: 2\ntitle: T\nsteps: [{hold_s: 1}]\n",
        "1:1",
        ["gaswitness_script cannot be 2", "write 1"],
    ),
    Broken(
        "misspelt key",
        "gaswitness_script: 1\ntitel: T\ntitle: T\nsteps: [{hold_s: 1}]\n",
        "2:1",
        ["titel is not a known key", "did you mean title?"],
    ),
    claiming(
        "level/AT-1.A9", "no run comes to a verdict 'level/AT-1.A9'", "write one of level/AT-1.A1"
    ),
    claiming("level/AT-1.A1: clear", "has no side 'clear'", "did you mean clears?"),
    claiming("output/K8", "no run comes to a verdict 'output/K8'", "did you mean output/K1?"),
    claiming("output/S1: mute", "output/S1 has no side 'mute'", "did you mean mutes?"),
    claiming("flag/AT-1.falt: comes", "no run comes", "did you mean flag/AT-1.fault?"),
    claiming("flag/AT-1.A1: comes", "no run comes to a verdict 'flag/AT-1.A1'"),
    claiming("reading/AT-9", "no run comes to a verdict 'reading/AT-9'"),
    claiming("point/ones", "no run comes", "did you mean point/one?"),
    claiming("cell/AT-1.A1 > K1: rises", "no run comes", "none are known here"),
    claiming("expectation/is tripped", "no run comes", "did you mean expectation/it tripped?"),
    claiming("AT-1.A1", "there is no verdict 'AT-1.A1'", "begin with link/, point/"),
    step("misspelt action", "gass: {channel: AT-1, to: 1}", 5, "gass", "did you mean gas?"),
    step("two actions", "{press: reset, hold_s: 5}", 5, "one step does press and hold_s"),
    step("no action", "{at_s: 5}", 5, "the step does nothing", "write one of say, gas"),
    step("both times", "{at_s: 5, after_s: 1, press: reset}", 5, "at_s and after_s exclude"),
    step("negative time", "{after_s: -1, press: reset}", 6, "after_s must be at least 0"),
    step("hold of nothing", "hold_s: 0", 5, "hold_s must be above 0"),
    step("hold with a unit", "hold_s: 60 s", 5, "hold_s must be a number", "without a unit"),
    step("unknown key of the panel", "press: restart", 5, "press cannot be 'restart'", "reset"),
    step("power sideways", "power: maybe", 5, "power must be true or false, found 'maybe'"),
    step("gas without a level", "gas: {channel: AT-1}", 5, "gas needs either 'to' or 'trace'"),
    step("gas without a channel", "gas: {to: 5}", 5, "channel is missing"),
    step(
        "two shapes",
        "gas: {channel: AT-1, to: 5, over_s: 5, tau_s: 5}",
        5,
        "over_s, tau_s and trace exclude each other",
    ),
    step("gas to yes", "gas: {channel: AT-1, to: true}", 26, "this is not a level of gas"),
    step(
        "unknown channel",
        "gas: {channel: AT-11, to: 5}",
        11,
        "the site has no channel 'AT-11'",
        "did you mean AT-1?",
    ),
    step("input as a channel", "fault: DI-1", 5, "no channel 'DI-1'", "write one of AT-1"),
    step("unknown in a list", "inhibit: [AT-1, AT-9]", 21, "no channel 'AT-9'"),
    step("unknown input", "input: {tag: DI-3, active: on}", 13, "no input 'DI-3'"),
    step(
        "level not there",
        "gas: {channel: AT-2, to: past A2}",
        26,
        "AT-2 has no alarm level A2: its levels are A1",
    ),
    step("level in riddles", "gas: {channel: AT-1, to: half}", 26, "'half' is not a level of gas"),
    step("less than none", "gas: {channel: AT-1, to: -4}", 26, "-4 %LEL of CH4 cannot be"),
    step("more than all", "gas: {channel: AT-3, to: 120}", 26, "120 %vol of O2 cannot be"),
    step("unknown fact", "expect: {fact: AT-1.A4, is: on, within_s: 1}", 14, "AT-1.A1, AT-1.A2"),
    step(
        "number as a fact",
        "expect: {fact: AT-1.reading, is: on, within_s: 1}",
        14,
        "AT-1.reading is a number",
        "between: [LOW, HIGH]",
    ),
    step(
        "fact as a number",
        "expect: {fact: AT-1.A1, between: [1, 2], within_s: 1}",
        14,
        "AT-1.A1 is on or off, not a number",
    ),
    step(
        "nothing expected",
        "expect: {fact: AT-1.A1, within_s: 1}",
        5,
        "expect needs either 'is' or 'between'",
    ),
    step("no patience", "expect: {fact: AT-1.A1, is: on}", 5, "within_s is missing"),
    step(
        "upside down",
        "expect: {fact: AT-1.reading, between: [A1, clean], within_s: 1}",
        34,
        "between goes from 10 down to 0",
    ),
    step(
        "not in the map",
        "expect: {fact: AT-1.A2, is: on, within_s: 1}",
        14,
        "no point of the map shows AT-1.A2",
        "ask a person with 'look'",
    ),
    step("look at nothing", "look: {fact: B1.active, ask: Lit?}", 12, "no fact 'B1.active'"),
    step("trace not there", "gas: {channel: AT-1, trace: none.csv}", 26, "no recorded trace"),
    Broken(
        "back in time",
        f"{HEAD}  - hold_s: 60\n  - {{at_s: 30, press: reset}}\n",
        "5:6",
        ["at_s 30 goes back in time: the steps above end at 60 s", "write at_s: 60 or later"],
    ),
    step("loop over nothing", "for_each: {steps: [{hold_s: 1}]}", 5, "one kind of tags"),
    step("loop without steps", "for_each: {channel: all, steps: []}", 30, "at least 1"),
    step(
        "loop over an unknown",
        "for_each: {channel: [AT-1, AT-7], steps: [{hold_s: 1}]}",
        32,
        "the site has no channel 'AT-7'",
    ),
    step(
        "placeholder misspelt",
        'for_each: {channel: all, steps: [{fault: "{chanel}"}]}',
        39,
        "nothing here stands for {chanel}",
        "did you mean {channel}?",
    ),
    step("placeholder alone", 'fault: "{channel}"', 5, "stands for {channel}", "in for_each"),
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_script_is_refused_with_place_and_remedy(case, tmp_path):
    path = tmp_path / "broken.yaml"
    path.write_bytes(case.text if isinstance(case.text, bytes) else case.text.encode())
    with pytest.raises(ScriptError) as raised:
        load_script(path, SITE)
    lines = str(raised.value).splitlines()
    assert len(lines) == 1, lines
    assert lines[0].startswith(f"{path}:{case.where}: ")
    for part in case.says:
        assert part in lines[0]
    assert raised.value.problems[0].remedy


def test_all_errors_of_a_script_and_its_trace_come_at_once(tmp_path):
    (tmp_path / "leak.csv").write_text("time_s,level\n0,1\n5,x\n", "utf-8")
    path = tmp_path / "broken.yaml"
    path.write_text(
        f"""{HEAD}  - fault: AT-9
  - gas: {{channel: AT-1, trace: leak.csv}}
  - gas: {{channel: AT-2, to: past A3}}
  - {{at_s: 0, expect: {{fact: K9.active, is: on, within_s: 1}}}}
""",
        "utf-8",
    )
    with pytest.raises(ScriptError) as raised:
        load_script(path, SITE)
    places = [f"{Path(p.place.file).name}:{p.place.line}" for p in raised.value.problems]
    assert places == ["broken.yaml:4", "broken.yaml:6", "broken.yaml:7", "leak.csv:3"]


def test_trace_with_gas_that_cannot_be_is_refused_for_that_channel(tmp_path):
    (tmp_path / "leak.csv").write_text("time_s,level\n0,1\n5,120\n", "utf-8")
    path = tmp_path / "broken.yaml"
    path.write_text(f"{HEAD}  - gas: {{channel: AT-3, trace: leak.csv}}\n", "utf-8")
    with pytest.raises(ScriptError, match=r"broken\.yaml:4:26: 120 %vol of O2 cannot be"):
        load_script(path, SITE)


def test_script_that_is_not_there_is_a_script_error_too(tmp_path):
    with pytest.raises(ScriptError, match="there is no script"):
        load_script(tmp_path / "none.yaml", SITE)
    assert issubclass(ScriptError, GaswitnessError)


def test_loops_that_unroll_without_end_are_refused(tmp_path):
    inner = "{hold_s: 1}"
    for _ in range(12):
        inner = f"{{for_each: {{channel: all, steps: [{inner}]}}}}"
    path = tmp_path / "broken.yaml"
    path.write_text(f"{HEAD}  - {inner}\n", "utf-8")
    with pytest.raises(ScriptError, match="unroll to more than"):
        load_script(path, SITE)
