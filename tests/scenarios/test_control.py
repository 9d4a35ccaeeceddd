import asyncio
import json
from contextlib import asynccontextmanager

import pytest

from gaswitness_scenarios.control import Announcement, ControlError, announced
from gaswitness_scenarios.control_client import ControlClient
from gaswitness_scenarios.control_server import ControlServer
from gaswitness_scenarios.link_control import LinkControl
from gaswitness_simulator.link_fault_plan import FaultPlan

SHA = "ab" * 32


@asynccontextmanager
async def served(start=lambda script: 5.0, hello=None, plan=None):
    hello = hello or {"gaswitness_control": 1, "panel_s": 4.0, "scripts": [], "speed": 2.0}
    link = LinkControl(plan or FaultPlan(), lambda: 4.5, lambda line: None)
    server = ControlServer(lambda: hello, start, lambda: 4.5, link.command)
    await server.listen()
    try:
        yield server
    finally:
        await server.close()


async def raw(server, line):
    reader, writer = await asyncio.open_connection(server.host, server.port)
    await reader.readline()
    writer.write(line)
    writer.write_eof()
    answer = await reader.read()
    writer.close()
    return answer


async def test_the_server_greets_and_starts():
    async with served() as server:
        client = await ControlClient.connect(server.host, server.port)
        assert client.hello["speed"] == 2.0
        answer = await client.ask({"command": "start", "script": SHA})
        assert (answer["zero_s"], answer["panel_s"]) == (5.0, 4.5)
        await client.close()


async def test_a_refused_start_says_why():
    def refuse(script):
        raise ControlError("it has been played already")

    async with served(refuse) as server:
        client = await ControlClient.connect(server.host, server.port)
        with pytest.raises(ControlError, match="it has been played already"):
            await client.ask({"command": "start", "script": SHA})
        assert (await client.ask({"command": "state"}))["answer"] == "state"
        await client.close()


async def test_link_faults_begin_end_and_are_told():
    plan = FaultPlan()
    async with served(plan=plan) as server:
        client = await ControlClient.connect(server.host, server.port)
        answer = await client.ask({"command": "fault", "fault": "late 300 ms, 5 %"})
        assert answer["faults"] == ["late 0.3 s, 5 %"]
        await client.ask({"command": "fault", "fault": "silent, unit 9"})
        assert [fault.name for fault in plan.faults()] == ["late", "silent"]
        answer = await client.ask({"command": "clear", "kind": "late"})
        assert answer["faults"] == ["silent, unit 9"]
        assert (await client.ask({"command": "clear"}))["faults"] == []
        assert (await client.ask({"command": "faults"}))["faults"] == []
        assert plan.at_rest is False  # until the next answer shows that nothing is on its way
        await client.close()


@pytest.mark.parametrize(
    ("command", "says"),
    [
        ({"command": "fault", "fault": "lat 3 s"}, "did you mean late"),
        ({"command": "fault"}, "begins with its kind"),
        ({"command": "clear", "kind": "noise"}, "is no kind of link fault"),
    ],
)
async def test_a_link_fault_that_cannot_be_is_refused_and_the_channel_goes_on(command, says):
    async with served() as server:
        client = await ControlClient.connect(server.host, server.port)
        with pytest.raises(ControlError, match=says):
            await client.ask(command)
        assert (await client.ask({"command": "faults"}))["faults"] == []
        await client.close()


async def test_who_watches_late_hears_what_was_before():
    async with served() as server:
        server.tell({"event": "begun", "number": 1})
        client = await ControlClient.connect(server.host, server.port)
        await client.ask({"command": "watch"})
        server.tell({"event": "done", "number": 1})
        assert [(await client.event(1.0))["event"] for _ in range(2)] == ["begun", "done"]
        await client.close()


async def test_events_that_come_before_an_answer_are_kept():
    async with served() as server:
        client = await ControlClient.connect(server.host, server.port)
        await client.ask({"command": "watch"})
        server.tell({"event": "begun", "number": 7})
        await client.ask({"command": "state"})
        assert (await client.event(1.0))["number"] == 7
        await client.close()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"POST / HTTP/1.1\r\n", "not JSON"),
        (b"[1]\n", "not a JSON object"),
        (b'{"command": "write"}\n', "'write' is no command: start, watch, state"),
        (b"x" * 70_000 + b"\n", "too long"),
    ],
)
async def test_a_line_that_is_no_command_is_answered_in_words_and_ends_it(line, words):
    async with served() as server:
        answer = await raw(server, line + b'{"command": "state"}\n')
        assert [words in json.loads(got)["error"] for got in answer.splitlines()] == [True]


async def test_a_channel_that_closes_says_so():
    async with served() as server:
        client = await ControlClient.connect(server.host, server.port)
        await client.ask({"command": "watch"})
        await server.close()
        with pytest.raises(ControlError, match="closed its control channel"):
            await client.event(1.0)
        await client.close()


async def test_a_channel_that_falls_silent_says_so():
    async with served() as server:
        client = await ControlClient.connect(server.host, server.port)
        with pytest.raises(ControlError, match="has been silent for 0 s"):
            await client.event(0.05)
        await client.close()


async def test_nobody_there_is_said_with_the_remedy():
    async with served() as server:
        port = server.port
    with pytest.raises(ControlError, match=r"does not answer .*run both on the same computer"):
        await ControlClient.connect("127.0.0.1", port)


async def test_another_format_is_refused():
    async with served(hello={"gaswitness_control": 9}) as server:
        with pytest.raises(ControlError, match="speaks format 9, this program 1"):
            await ControlClient.connect(server.host, server.port)


def test_what_is_announced_is_read_back():
    said = Announcement("127.0.0.1", 40124, 12.5)
    assert said.objects() == {
        0x80: b"Gaswitness virtual panel",
        0x81: b"control tcp://127.0.0.1:40124",
        0x82: b"speed 12.5",
    }
    assert announced(said.objects()) == said


@pytest.mark.parametrize(
    "identity",
    [
        {},
        {0x80: b"Another maker's object"},
        {0x80: b"Gaswitness virtual panel"},
        {0x80: b"Gaswitness virtual panel", 0x81: b"control tcp://h:x", 0x82: b"speed 1"},
        {0x80: b"Gaswitness virtual panel", 0x81: b"control tcp://h:1", 0x82: b"speed 0"},
        {0x80: b"Gaswitness virtual panel", 0x81: b"control tcp://h:1", 0x82: b"\xff"},
    ],
)
def test_an_identity_that_announces_nothing_is_no_announcement(identity):
    assert announced(identity) is None
