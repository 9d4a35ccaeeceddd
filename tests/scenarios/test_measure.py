"""A link measured on a real socket: a served virtual panel, and ways in which it stays silent."""

import asyncio
import threading

import pytest

from gaswitness_probe.errors import NoConnection, NoReply
from gaswitness_scenarios.measure import measure, with_answer
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.tcp import serve_tcp
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.site import Site

SITE = Site.model_validate(
    {
        "gaswitness_site": 1,
        "panel": {"tag": "GP-1"},
        "pace": {"poll_period_s": 0.05, "timeout_s": 0.3},
        "timing": {"shortest_dwell_s": 1.0, "answer_s": 0.04},
        "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
        "outputs": [{"tag": "K1", "kind": "relay"}],
        "points": [
            {"name": "R", "table": "input register", "address": 0, "type": "float32",
             "shows": "AT-1.reading", "unit": "%LEL"},
            {"name": "K", "table": "coil", "address": 0, "type": "bit", "shows": "K1.active"},
        ],
    }
)  # fmt: skip


class Elsewhere:
    """A loop in a thread of its own, for what is at the other end of the wire."""

    def __enter__(self):
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever)
        self.thread.start()
        return self

    def __exit__(self, *_):
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join()
        self.loop.close()

    def do(self, coroutine):
        return asyncio.run_coroutine_threadsafe(coroutine, self.loop).result(10)


@pytest.fixture
def elsewhere():
    with Elsewhere() as found:
        yield found


def address(port):
    return LinkAddress("tcp", "127.0.0.1", port, 1)


def served(elsewhere, site=SITE):
    async def serve():
        device = VirtualDevice(VirtualPanel(site, seed=0), unit=1)
        return await serve_tcp(device, "127.0.0.1", 0, asyncio.get_running_loop().time)

    return elsewhere.do(serve())


def test_a_served_panel_is_measured(elsewhere):
    server = served(elsewhere)
    found = measure(SITE, address(server.port), 1, 4)
    elsewhere.do(server.close())
    assert (found.cycles, found.failed) == (4, 0)
    assert [one.computed.block.table.value for one in found.requests] == ["coil", "input register"]
    for one in found.requests:
        assert 0 < one.took.least_s <= one.took.median_s <= one.took.most_s < 0.3
    assert sum(one.took.least_s for one in found.requests) <= found.cycle.most_s
    # 2 x (5 ms of network + 40 ms of panel) were computed; the loopback is quicker than either
    assert found.computed_cycle_s == pytest.approx(0.09, abs=1e-3)
    assert found.answer_s == pytest.approx(0.0, abs=0.05)


async def slow_panel(delay_s):
    """A server that answers every read with zeros after a delay; None: not at all."""

    async def answer(reader, writer):
        try:
            while True:
                request = await reader.readexactly(12)
                if delay_s is None:
                    continue
                await asyncio.sleep(delay_s)
                function, count = request[7], int.from_bytes(request[10:12])
                size = (count + 7) // 8 if function < 3 else 2 * count
                head = request[:4] + (size + 3).to_bytes(2) + request[6:8]
                writer.write(head + bytes((size,)) + bytes(size))
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            writer.close()

    return await asyncio.start_server(answer, "127.0.0.1", 0)


async def closed(server):
    server.close()
    await asyncio.sleep(0.05)


def test_what_the_panel_takes_is_found_out(elsewhere):
    server = elsewhere.do(slow_panel(0.1))
    found = measure(SITE, address(server.sockets[0].getsockname()[1]), 1, 3)
    elsewhere.do(closed(server))
    # 100 ms less the 5 that are counted for the network
    assert found.answer_s == pytest.approx(0.095, abs=0.03)
    assert found.cycle.median_s == pytest.approx(0.2, abs=0.06)
    assert with_answer(SITE, found.answer_s).timing.answer_s == found.answer_s


def test_one_that_says_nothing_is_given_up_after_the_first_cycle(elsewhere):
    server = elsewhere.do(slow_panel(None))
    with pytest.raises(NoReply, match="unit 1 says nothing"):
        measure(SITE, address(server.sockets[0].getsockname()[1]), 1, 50)
    elsewhere.do(closed(server))


def test_where_nothing_listens_there_is_no_connection(elsewhere):
    server = elsewhere.do(slow_panel(None))
    port = server.sockets[0].getsockname()[1]
    elsewhere.do(closed(server))
    with pytest.raises(NoConnection):
        measure(SITE, address(port), 1, 1)


def test_what_the_panel_refuses_is_counted_and_said(elsewhere):
    server = served(elsewhere)
    asked = SITE.model_dump()
    asked["points"] = [*asked["points"], asked["points"][0] | {"name": "X", "address": 400}]
    found = measure(Site.model_validate(asked), address(server.port), 1, 2)
    elsewhere.do(server.close())
    refused = found.requests[-1]
    assert (refused.took, refused.failed, found.failed) == (None, 2, 2)
    assert "02" in refused.problem
    assert found.cycle is None
