"""A served panel in a process of its own, and the probe against it over TCP."""

import io
import re
import signal
import socket
import socketserver
import sys
import threading
import time

import pytest

from gaswitness_probe.errors import LinkError, NoConnection, NoReply
from gaswitness_probe.verdict import Kind, Outcome
from gaswitness_scenarios.control import ControlError
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.options import (
    DriverChoice,
    SurveyOptions,
    WitnessOptions,
)
from gaswitness_scenarios.person import TerminalPerson
from gaswitness_scenarios.run import rehearse, survey, witness
from gaswitness_sitefile.link_address import parse_link

SPEED = 20


@pytest.fixture
def first_look(demo):
    return site_scripts(demo.path)[0]


def auto(link, **options):
    return WitnessOptions(link=parse_link(link), driver=DriverChoice.AUTO, **options)


def outcomes(result):
    return {verdict.id: verdict.outcome for verdict in result.verdicts}


def test_witness_over_tcp_concludes_as_the_rehearsal_does(demo, demo_scripts, served, first_look):
    panel = served(first_look, speed=SPEED)
    result = witness(demo, [demo_scripts["00"]], auto(panel.link))
    found = outcomes(result)
    # in memory there is no link for another reader to come over
    assert found.pop("link/second reader") is Outcome.PROVEN
    assert found == outcomes(rehearse(demo, [demo_scripts["00"]]))
    assert result.stats.speed == SPEED
    assert result.stats.stopped == ""


def test_a_person_who_confirms_what_was_never_done_is_found_out(demo, demo_scripts, served):
    panel = served(speed=40)
    person = TerminalPerson(io.StringIO("\n" * 50), io.StringIO())
    options = WitnessOptions(link=parse_link(panel.link), person=person)
    result = witness(demo, [demo_scripts["00"]], options)
    failed = {verdict.id for verdict in result.verdicts if verdict.outcome is Outcome.FAILED}
    assert "flag/AT-301.fault" in failed
    assert "expectation/Gas valve closes on methane" in failed


def test_a_person_who_stops_leaves_the_rest_not_run(demo, demo_scripts, served):
    panel = served(speed=40)
    person = TerminalPerson(io.StringIO("q gas bottle empty\n"), io.StringIO())
    options = WitnessOptions(link=parse_link(panel.link), person=person)
    result = witness(demo, [demo_scripts["00"]], options)
    assert re.fullmatch(
        r"stopped by the person at step \d+: gas bottle empty", result.stats.stopped
    )
    outcome = outcomes(result)
    assert outcome["level/AT-201.A1"] is Outcome.NOT_RUN
    assert Outcome.FAILED not in outcome.values()


def test_survey_over_tcp_finds_the_map_as_it_is_stated(demo, served):
    panel = served(speed=SPEED)
    result = survey(demo, SurveyOptions(link=parse_link(panel.link)))
    assert {verdict.kind for verdict in result.verdicts} <= {Kind.LINK, Kind.POINT}
    assert [v.id for v in result.verdicts if v.outcome is Outcome.FAILED] == []
    assert any(v.outcome is Outcome.PROVEN for v in result.verdicts)


def test_a_panel_with_another_script_is_refused_in_words(demo, demo_scripts, served, first_look):
    panel = served(first_look, speed=SPEED)
    with pytest.raises(ControlError, match="does not hold the script 10-readings"):
        witness(demo, [demo_scripts["10"]], auto(panel.link))


def test_a_script_that_has_begun_already_is_refused_in_words(
    demo, demo_scripts, served, first_look
):
    panel = served(first_look, speed=SPEED, more=("--start", "now"))
    with pytest.raises(ControlError, match="already begun the script 00-first-look"):
        witness(demo, [demo_scripts["00"]], auto(panel.link))


async def test_a_served_panel_plays_each_script_once_and_one_at_a_time(demo, demo_scripts, served):
    panel = served(*site_scripts(demo.path)[:2], speed=1)
    control = await ControlClient.connect("127.0.0.1", int(panel.control.rpartition(":")[2]))
    first, second = demo_scripts["00"].sha256, demo_scripts["10"].sha256
    answer = await control.ask({"command": "start", "script": first})
    assert answer["zero_s"] <= answer["panel_s"]
    for script, words in (
        (first, "has been started already"),
        (second, "another script is being played"),
        ("00", "there is no script 00 here"),
    ):
        with pytest.raises(ControlError, match=words):
            await control.ask({"command": "start", "script": script})
    await control.close()


def test_a_panel_that_dies_mid_run_leaves_honest_verdicts_and_whole_evidence(
    demo, demo_scripts, served, first_look, tmp_path
):
    panel = served(first_look, speed=SPEED)

    def kill_at_step(event):
        if getattr(event, "number", 0) == 6:
            panel.kill()

    path = tmp_path / "run.sqlite"
    result = witness(demo, [demo_scripts["00"]], auto(panel.link, evidence=path), kill_at_step)
    assert "closed its control channel" in result.stats.stopped or "broke" in result.stats.stopped
    assert [v.id for v in result.verdicts if v.outcome is Outcome.FAILED] == []
    assert result.stats.failed_exchanges > 0
    assert result.digest
    assert path.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="stopping a process is of POSIX systems")
def test_a_panel_that_falls_silent_mid_run_leaves_honest_verdicts(
    demo, demo_scripts, served, first_look
):
    panel = served(first_look, speed=SPEED)

    def freeze_at_step(event):
        if getattr(event, "number", 0) == 6:
            panel.process.send_signal(signal.SIGSTOP)

    result = witness(demo, [demo_scripts["00"]], auto(panel.link), freeze_at_step)
    assert "silent" in result.stats.stopped
    assert any("does not answer any more" in remark for remark in result.stats.remarks)
    assert [v.id for v in result.verdicts if v.outcome is Outcome.FAILED] == []
    assert outcomes(result)["flag/AT-301.fault"] is Outcome.NOT_RUN


@pytest.mark.skipif(sys.platform == "win32", reason="another process cannot press Ctrl-C there")
def test_serving_ends_quietly_when_interrupted(served):
    panel = served(speed=SPEED)
    with socket.create_connection(("127.0.0.1", int(panel.control.rpartition(":")[2]))) as other:
        other.recv(1000)
        panel.process.send_signal(signal.SIGINT)
        assert panel.process.wait(10) == 0
    assert panel.process.stdout.read().splitlines()[-1] == "stopped"


def test_nothing_listening_is_no_connection(demo):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(NoConnection, match="refuses the connection: check the port"):
        survey(demo, SurveyOptions(link=parse_link(f"tcp://127.0.0.1:{port}/1")))


class Peer(socketserver.ThreadingTCPServer):
    """Accepts connections and treats each as it is told to; `daemon_threads` end with the test."""

    allow_reuse_address = True
    daemon_threads = True
    block_on_close = False


@pytest.fixture
def peer():
    """Serve in the way given; the port."""
    servers = []

    def serve(treat):
        server = Peer(("127.0.0.1", 0), treat)
        servers.append(server)
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        return server.server_address[1]

    yield serve
    for server in servers:
        server.shutdown()
        server.server_close()


class ClosesAtOnce(socketserver.BaseRequestHandler):
    def handle(self):
        return


class KeepsSilent(socketserver.BaseRequestHandler):
    def handle(self):
        while self.request.recv(1000):
            pass


class AnswersNonsense(socketserver.BaseRequestHandler):
    def handle(self):
        while self.request.recv(1000):
            self.request.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")


class ReachesNoUnit(socketserver.BaseRequestHandler):
    """A gateway: exception 0B to everything, in the request's own header."""

    def handle(self):
        while request := self.request.recv(1000):
            function = bytes([request[7] | 0x80])
            self.request.sendall(request[:4] + b"\0\3" + request[6:7] + function + b"\x0b")


def test_a_gateway_that_reaches_no_unit_is_no_reply_in_words_and_soon(demo, peer):
    link = parse_link(f"tcp://127.0.0.1:{peer(ReachesNoUnit)}/9")
    before = time.perf_counter()
    with pytest.raises(NoReply, match="it does not reach unit 9"):
        survey(demo, SurveyOptions(link=link))
    assert time.perf_counter() - before < 15


@pytest.mark.parametrize(
    ("treat", "words"),
    [
        (ClosesAtOnce, "closed"),
        (KeepsSilent, "nothing came within 1 s"),
        (AnswersNonsense, "not Modbus"),
    ],
)
def test_a_peer_that_never_answers_is_no_reply_in_words_and_soon(
    demo, peer, treat, words, tmp_path
):
    port = peer(treat)
    path = tmp_path / "run.sqlite"
    before = time.perf_counter()
    with pytest.raises(LinkError, match="gives no answer in Modbus") as caught:
        survey(demo, SurveyOptions(link=parse_link(f"tcp://127.0.0.1:{port}/1"), evidence=path))
    assert isinstance(caught.value, NoReply)
    assert words in str(caught.value)
    assert time.perf_counter() - before < 15
    assert path.exists()
