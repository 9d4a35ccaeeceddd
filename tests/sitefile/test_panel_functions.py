"""What a site file says of pulses, tests, first-up and the event log: read, and refused where it
cannot be.
"""

import jsonschema
import pytest

from gaswitness_sitefile.devices import Output
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.event_log import CODE_OF, EVENTS, subject_codes
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import CHANNEL_STATES
from gaswitness_sitefile.schema import site_schema
from gaswitness_sitefile.yaml_text import parse_yaml

SITE = """\
gaswitness_site: 1
panel: {tag: GDP-1}
event_log: {entries: 4}
channels:
  - &one
    tag: AT-1
    gas: H2
    unit: "%LEL"
    range: [0, 100]
    levels:
      A1: {setpoint: 10}
  - <<: *one
    tag: AT-2
inputs:
  - {tag: DI-1}
outputs:
  - {tag: K1, kind: relay, pulse_s: 8}
  - {tag: F1, kind: fan, minimum_on_s: 40}
matrix:
  - {cause: AT-1.A1 OR AT-1.test, effect: K1, response_s: 5}
  - {cause: AT-2.calibration, effect: F1, response_s: 5}
map:
  files:
    - {number: 1, records: 18, content: events}
points:
  - {name: reading, table: input register, address: 0, type: float32, shows: AT-1.reading}
  - {name: first, table: input register, address: 2, type: uint16, shows: panel.first_up}
  - {name: who, table: input register, address: 3, type: enumeration, codes: {0: none, 7: AT-2}, shows: panel.first_up}
  - {name: flag, table: discrete input, address: 0, type: bit, shows: AT-2.first_up}
  - {name: state, table: input register, address: 4, type: enumeration, codes: {0: normal, 3: test}, shows: AT-1.state}
  - {name: forced, table: discrete input, address: 1, type: bit, shows: K1.forced}
  - {name: tried, table: discrete input, address: 2, type: bit, shows: panel.test}
  - {name: count, table: input register, address: 5, type: uint16, shows: events.count}
  - {name: code, table: input register, address: 6, type: enumeration, codes: {0: none, 1: A1 on}, shows: events.1.code}
  - {name: subject, table: input register, address: 7, type: enumeration, codes: {0: panel, 1: AT-1}, shows: events.4.subject}
  - {name: at, table: input register, address: 8, type: uint32, scale: 0.1, shows: events.2.at_s}
"""  # noqa: E501


@pytest.fixture
def load(tmp_path):
    def loaded(old="", new=""):
        assert SITE.count(old) == 1 or not old
        path = tmp_path / "site.yaml"
        path.write_text(SITE.replace(old, new) if old else SITE, encoding="utf-8")
        return load_site(path).site

    return loaded


def test_all_of_it_is_read_and_fits_the_schema(load):
    site = load()
    jsonschema.validate(parse_yaml(SITE, "site.yaml").data, site_schema())
    assert site.event_log.entries == 4
    assert [one.timed_s for one in site.outputs] == [8.0, 40.0]
    assert site.map.files[0].content == "events"


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("event_log: {entries: 4}\n", "", 32, ["count: the site has no event log"]),
        ("entries: 4", "entries: 0", 3, ["entries"]),
        ("entries: 4", "entries: 2", 35, ["no entry 4, it keeps 2", "events.1 to events.2"]),
        ("pulse_s: 8", "pulse_s: 8, minimum_on_s: 9", 17, ["keep one of them"]),
        ("pulse_s: 8", "pulse_s: 0", 17, ["pulse_s"]),
        ("records: 18", "records: 17", 24, ["no whole number of entries", "write records: 18"]),
        ("records: 18", "records: 22", 24, ["room for 5 entries, the log keeps 4"]),
        ("content: events", "content: events, writable: true", 24, ["take writable"]),
        ("content: events", "content: event", 24, ["content"]),
        ("7: AT-2", "7: AT-3", 28, ["'AT-3' is nothing that panel.first_up can say"]),
        ("1: A1 on", "1: A1 up", 34, ["'A1 up' is nothing that events.1.code can say"]),
        ("1: AT-1}", "1: AT-9}", 35, ["'AT-9' is nothing that events.4.subject"]),
        ("shows: events.2.at_s", "shows: events.2.when", 36, ["is not in the event log"]),
        ("shows: events.2.at_s", "shows: events.0.at_s", 36, ["no entry 0"]),
        ("type: bit, shows: AT-2.first_up", "type: bit, shows: panel.first_up", 29, ["number"]),
        ("uint16, shows: events", "bit in word, bit: 1, shows: events", 33, ["is a number"]),
        ("AT-1.A1 OR AT-1.test", "AT-1.first_up", 20, ["no aspect 'first_up'"]),
        ("shows: K1.forced", "shows: K1.force", 31, ["did you mean K1.forced?"]),
        ("tag: DI-1", "tag: events", 15, ["means something else"]),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_where_it_stands(load, old, new, line, says):
    with pytest.raises(SiteFileError) as caught:
        load(old, new)
    found = {problem.place.line: str(problem) for problem in caught.value.problems}
    assert line in found, found
    assert all(word in found[line] for word in says), found[line]


def test_a_pulse_in_a_table_of_outputs(tmp_path):
    table = "tag,kind,pulse_s,minimum_on_s\nK1,relay,8,\nF1,fan,,40\n"
    (tmp_path / "outputs.csv").write_text(table, encoding="utf-8")
    lines = SITE.splitlines(keepends=True)
    rows = [line for line in lines if not line.startswith(("  - {tag: K1", "  - {tag: F1"))]
    text = "".join(rows).replace("outputs:\n", "outputs: {file: outputs.csv}\n")
    path = tmp_path / "site.yaml"
    path.write_text(text, encoding="utf-8")
    assert [one.timed_s for one in load_site(path).site.outputs] == [8.0, 40.0]


def test_an_output_without_a_time_of_its_own_has_none():
    assert Output(tag="K1", kind="relay").timed_s is None


def test_codes_are_what_they_were_once_given_out():
    """Whoever reads a log has these numbers: they may be added to, never moved."""
    assert CODE_OF["A1 on"] == 1
    assert CODE_OF["fault on"] == 11
    assert CODE_OF["calibration off"] == 18
    assert CODE_OF["forced on"] == 23
    assert CODE_OF["power off"] == 28
    assert CODE_OF["mute"] == 31
    assert CODE_OF["comms_fault on"] == 32
    assert CODE_OF["bus_fault off"] == 49
    assert CODE_OF["setup_differs off"] == len(EVENTS) == 51
    assert subject_codes(["AT-1", "AT-2"], ["DI-1"], ["K1"]) == {
        "panel": 0,
        "AT-1": 1,
        "AT-2": 2,
        "DI-1": 1001,
        "K1": 2001,
    }
    assert CHANNEL_STATES.index("under_range") == 8
    assert CHANNEL_STATES[9:] == ("test", "calibration")
