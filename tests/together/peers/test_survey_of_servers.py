"""The survey of servers of other makes that hold the demo's map at rest: every point is proven, and
of the link all but what such a server does otherwise than the map or the protocol says.
"""

import sys
from dataclasses import replace

import pytest
from peers import servers
from peers.clients import libmodbus
from peers.servers import SERVERS, libmodbus_on_a_line

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.options import SurveyOptions
from gaswitness_scenarios.run import survey
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.points import Gaps

# What is not proven of each, as measured with pyModbusTCP 0.3.1, pymodbus 3.16.1 and libmodbus
# 3.1.6.
UNPROVEN = {
    "pyModbusTCP": {},
    "pymodbus": {
        # quantity 0 and too large a quantity get 80 01: the function is lost
        "link/replies": "wrong function",
        "link/exceptions": "asked 01, answered 80",
        # bits are kept by sixteens: those that nobody mapped are answered
        "link/unmapped": "coil 15, in a gap: answered, though it must be refused",
    },
    "libmodbus": {
        # a table is one stretch from its first address to its last
        "link/unmapped": "coil 15, in a gap: answered, though it must be refused",
        # function 2B is not there
        "link/identification": "exception 01, illegal function",
    },
}


def surveyed(demo, port, link=None, timeout_s=1.0, **changes):
    """The demo's map surveyed without pauses; the heartbeat beats faster than a panel's."""
    site = demo.site.model_copy(
        update={
            "timing": demo.site.timing.model_copy(update={"heartbeat_s": 0.2}),
            "pace": demo.site.pace.model_copy(
                update={"request_gap_s": 0.0, "timeout_s": timeout_s}
            ),
            **changes,
        }
    )
    link = parse_link(link or f"tcp://127.0.0.1:{port}/1")
    return survey(replace(demo, site=site), SurveyOptions(link=link)).verdicts


@pytest.fixture(params=SERVERS)
def make(request):
    if request.param == "libmodbus" and libmodbus() is None:
        pytest.skip("libmodbus is not installed on this machine")
    return request.param


def test_all_is_proven_but_what_the_library_does_otherwise(demo, make):
    with SERVERS[make]() as port:
        verdicts = surveyed(demo, port)
    unproven = {v.id: v for v in verdicts if v.outcome is not Outcome.PROVEN}
    assert set(unproven) == set(UNPROVEN[make])
    for verdict_id, words in UNPROVEN[make].items():
        assert unproven[verdict_id].outcome is Outcome.FAILED
        assert words in unproven[verdict_id].because
    assert sum(v.id.startswith("point/") for v in verdicts) == 156


@pytest.mark.skipif(libmodbus() is None, reason="libmodbus is not installed on this machine")
def test_a_map_that_says_what_the_server_is_is_proven_whole(demo):
    panel = demo.site.panel.model_copy(update={"vendor": "", "product": "", "revision": ""})
    rules = demo.site.map.model_copy(update={"gaps": Gaps.ZEROS})
    with SERVERS["libmodbus"]() as port:
        verdicts = surveyed(demo, port, panel=panel, map=rules)
    left = {v.id: v.because for v in verdicts if v.outcome is not Outcome.PROVEN}
    assert list(left) == ["link/identification"]
    assert left["link/identification"].startswith(
        "the panel has no identification, and the site file states none"
    )


@pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals")
@pytest.mark.skipif(libmodbus() is None, reason="libmodbus is not installed on this machine")
def test_a_server_on_a_line_is_surveyed_too(demo):
    with libmodbus_on_a_line(115200) as device:
        link = f"rtu://{device}?baud=115200&unit=1"
        verdicts = surveyed(demo, 0, link, timeout_s=0.3)
    unproven = {v.id: v for v in verdicts if v.outcome is not Outcome.PROVEN}
    # of a function that it does not know it knows no length: no frame, so no exception either
    told = {verdict_id: verdict.outcome for verdict_id, verdict in unproven.items()}
    assert told == {
        "link/identification": Outcome.INCONCLUSIVE,
        "link/exceptions": Outcome.INCONCLUSIVE,
        "link/unmapped": Outcome.FAILED,
    }
    assert unproven["link/exceptions"].because.startswith("function 99, which nobody has: ")
    assert "a control read between was answered 3 of 3 times" in unproven["link/exceptions"].because


@pytest.mark.parametrize(
    ("function", "address", "value", "points"),
    [
        (4, 26, 2090 ^ 0x0400, ["AT-601 reading"]),
        (1, 2, 0, ["K3 acts", "K3 coil energised"]),
        (3, 10, 0x2027, ["Serial number"]),
    ],
)
def test_one_wrong_register_is_found_by_name(demo, monkeypatch, function, address, value, points):
    wrong = {**servers.AT_REST[function], address: value}
    monkeypatch.setitem(servers.AT_REST, function, wrong)
    with SERVERS["pyModbusTCP"]() as port:
        verdicts = surveyed(demo, port)
    wrong_ones = [v.id for v in verdicts if v.outcome is not Outcome.PROVEN]
    assert wrong_ones == [f"point/{name}" for name in points]
