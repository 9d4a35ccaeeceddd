"""A served panel's link faults: at its start, told while it runs, and from a script."""

import asyncio
import subprocess
import sys

import pytest

from gaswitness_probe.client import Client
from gaswitness_probe.deviation import Deviation
from gaswitness_probe.links import open_link
from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import parse_link
from gaswitness_sitefile.points import Table


def read(link, count=3):
    """What so many reads over the link came to."""

    async def reading():
        pace = Pace(timeout_s=0.3)
        transport, framing = open_link(parse_link(link), pace)
        client = Client(transport, unit=1, clock=LoopClock(), pace=pace, framing=framing)
        await client.open()
        try:
            return [await client.read(Table.HOLDING, 0, 4) for _ in range(count)]
        finally:
            await client.close()

    return asyncio.run(reading())


def command(*arguments):
    program = [sys.executable, "-c", "from gaswitness.cli import main; main()", *arguments]
    return subprocess.run(program, capture_output=True, text=True, timeout=30, check=False)


def test_a_served_panel_s_link_does_wrong_from_the_start_and_as_it_is_told(served):
    panel = served(more=("--fault", "exception 0B, 1 times, function 03", "--fault", "late 50 ms"))
    exchanges = read(panel.link)
    assert [exchange.exception_code for exchange in exchanges] == [11, None, None]
    assert all(one.received_s - one.sent_s >= 0.05 for one in exchanges)
    control = panel.control.removeprefix("control on ")
    told = command("tell", control, "--clear", "all", "--fault", "wrong-unit 9, 2 times")
    assert (told.stdout, told.returncode) == ("wrong-unit 9, 2 times\n", 0), told.stderr
    found = [one.problem and one.problem.deviation for one in read(panel.link)]
    assert found == [Deviation.WRONG_UNIT, Deviation.WRONG_UNIT, None]
    assert command("tell", control).stdout == "no faults\n"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("serve", "--fault", "lat 3 s"), "did you mean late?"),
        (("tell", "127.0.0.1:1", "--fault", "lat 3 s"), "did you mean late?"),
        (("tell", "127.0.0.1:1"), "does not answer"),
    ],
)
def test_what_cannot_be_is_refused_in_words(arguments, says):
    found = command(*arguments)
    assert found.returncode == 2
    assert says in " ".join(found.stderr.split())


def test_help_lists_every_kind_of_link_fault():
    shown = command("serve", "--help").stdout
    for name in ("late [T s]", "half-open", "connection-limit [N connections] [refuse|oldest]"):
        assert name in shown
    assert "late 0.2..1.5 s, 5 %, unit 1" in shown


SCRIPT = """\
gaswitness_script: 1
title: A link that does wrong
steps:
  - hold_s: 40
  - link_fault: silent, for 6 s
  - hold_s: 10
  - link_fault: {kind: exception 06, percent: 50}
  - hold_s: 10
  - link_clear: all
  - hold_s: 10
"""


def test_a_script_s_link_faults_act_in_a_rehearsal_and_fail_nothing(demo, tmp_path):
    path = tmp_path / "link.yaml"
    path.write_text(SCRIPT, encoding="utf-8")
    quiet = tmp_path / "quiet.yaml"
    quiet.write_text(SCRIPT.replace("link_fault: silent, for 6 s", "say: nothing"), "utf-8")
    results = [
        rehearse(demo, [load_script(one, demo.site)], RehearsalOptions()) for one in (path, quiet)
    ]
    lost, none = (result.stats.failed_exchanges for result in results)
    assert (lost > 3, none) == (True, 0)
    for result in results:
        assert [v.id for v in result.verdicts if v.outcome is Outcome.FAILED] == []
        assert not result.stats.stopped
