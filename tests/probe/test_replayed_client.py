"""A client that answers from a record: what it must refuse, so that nothing passes for a replay."""

import pytest

from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.errors import NoConnection
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.frames import encode, read_request
from gaswitness_probe.kept_exchange import OutOfStepError
from gaswitness_probe.poll_again import PollAgain, blocks_of
from gaswitness_probe.replayed_client import ReplayedClient, at_once
from gaswitness_probe.survey_clock import ClockAgain, KeptClock
from gaswitness_probe.survey_second import SecondReading
from gaswitness_probe.survey_second_kept import KeptSecond, SecondAgain
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.points import Table
from gaswitness_sitefile.site import Site

READ = read_request(Table.HOLDING, 0, 1)
OTHER = read_request(Table.HOLDING, 5, 1)
REPLY = bytes.fromhex("03020007")
LOST = LinkProblem(Deviation.NO_CONNECTION, detail="gone")


def answered(seq, pdu, at_s, **more):
    request, response = encode(seq, 1, pdu), encode(seq, 1, REPLY)
    return Exchange(seq, at_s, at_s + 0.1, request, response, REPLY, **more)


def client(*exchanges, instants=()):
    clock = ClockAgain(instants)
    return ReplayedClient(exchanges, unit=1, clock=clock, pace=Pace(), rtu=False), clock


def test_it_gives_what_was_answered_then_and_time_stands_there():
    asked, clock = client(answered(1, READ, 2.0), answered(2, OTHER, 3.0), instants=(1.5, 2.75))
    assert clock.now() == 1.5
    assert at_once(asked.read(Table.HOLDING, 0, 1)).payload == b"\x00\x07"
    at_once(clock.sleep_until(2.5))
    assert clock.now() == 2.75
    assert at_once(asked.ask(OTHER)).seq == 2
    asked.finished()
    clock.finished()
    assert (asked.statistics.requests, asked.statistics.replies) == (2, 2)


def test_what_the_clock_showed_is_kept_and_shown_again():
    kept = KeptClock(ClockAgain([1.0, 1.0, 4.5]))
    assert [kept.now(), kept.now(), kept.now()] == kept.instants == [1.0, 1.0, 4.5]
    clock = ClockAgain(kept.instants)
    with pytest.raises(OutOfStepError, match="more often"):
        clock.finished()
    with pytest.raises(OutOfStepError, match="less often"):
        ClockAgain([]).now()


@pytest.mark.parametrize("instants", [(3.5,), (2.05, 1.0), (float("nan"),)])
def test_a_clock_that_goes_back_is_out_of_step(instants):
    asked, clock = client(answered(1, READ, 2.0), answered(2, READ, 3.0), instants=instants)

    async def both():
        for _ in range(2):
            clock.now()
            await asked.ask(READ)

    with pytest.raises(OutOfStepError, match="time goes back"):
        at_once(both())


def test_what_was_asked_for_the_lines_sake_comes_before():
    asked, _ = client(answered(1, OTHER, 2.0, sign=True), answered(2, READ, 3.0))
    assert at_once(asked.ask(READ)).seq == 2


def test_another_question_or_none_is_out_of_step():
    asked, _ = client(answered(1, READ, 2.0))
    with pytest.raises(OutOfStepError, match=r"entry 1 asked 03 00 00 00 01, where 03 00 05"):
        at_once(asked.ask(OTHER))
    with pytest.raises(OutOfStepError, match="ends where"):
        at_once(asked.ask(READ))


def test_a_question_too_many_is_out_of_step():
    asked, _ = client(answered(1, READ, 2.0))
    with pytest.raises(OutOfStepError, match="nothing would have asked what entry 1 asks"):
        asked.finished()


class Other:
    name = "other 1.0"

    def __init__(self):
        self.closed = True

    async def open(self):
        if self.closed:
            self.closed = False
            raise NoConnection("busy")

    async def read(self, table, address, count):
        return SecondReading((7,) * count, b"\x01", b"\x02")

    async def close(self):
        self.closed = True


def test_the_other_readers_doings_are_kept_and_come_again():
    kept = []
    second = KeptSecond(Other(), ClockAgain([0.0] * 9), lambda body, at_s: kept.append(body))
    with pytest.raises(NoConnection):
        at_once(second.open())
    at_once(second.open())
    reading = at_once(second.read(Table.COIL, 3, 2))
    again = SecondAgain(second.name, iter(kept))
    with pytest.raises(NoConnection, match="busy"):
        at_once(again.open())
    at_once(again.open())
    with pytest.raises(OutOfStepError, match="more often"):
        again.finished()
    again = SecondAgain(second.name, iter(kept[2:]))
    assert at_once(again.read(Table.COIL, 3, 2)) == reading == SecondReading((7, 7), b"\1", b"\2")
    again.finished()
    with pytest.raises(OutOfStepError, match="less often"):
        at_once(again.read(Table.COIL, 3, 2))
    with pytest.raises(OutOfStepError, match="asked for 1 x coil from 3"):
        at_once(SecondAgain("", iter(kept[2:])).read(Table.COIL, 3, 1))


SITE = Site.model_validate(
    {
        "gaswitness_site": 1,
        "panel": {"tag": "P-1"},
        "channels": [{"tag": "AT-1", "gas": "CH4", "unit": "%LEL", "range": [0, 100]}],
        "timing": {"scan_s": 0.1, "refresh_s": 0.1, "shortest_dwell_s": 1.0},
        "points": [
            {
                "name": f"c{address}",
                "table": "holding register",
                "address": address,
                "type": "uint16",
                "shows": "constant",
                "value": 7,
            }
            for address in (0, 5)
        ],
    }
)
POLLED = {
    "blocks": [
        {"pdu": READ.hex(), "period_s": 1.0, "points": ["c0"]},
        {"pdu": OTHER.hex(), "period_s": 1.0, "points": ["c5"]},
    ],
    "refused": [],
}


def unsent(seq, pdu, at_s):
    return Exchange(seq, at_s, at_s, b"", b"", None, LOST, unsent=pdu)


def poll(*exchanges):
    again = PollAgain(SITE, rtu=False)
    again.begin(blocks_of(POLLED, SITE))
    return again, [again.take(one) is not None for one in exchanges]


def test_runs_end_as_they_did_in_the_poll():
    """A lost connection ends the run of its block, and of those after it in the row."""
    again, begins = poll(
        answered(1, READ, 0.0),
        answered(2, OTHER, 0.2),
        answered(3, READ, 0.3),
        unsent(4, READ, 0.5),
        answered(5, READ, 0.6),
        answered(6, OTHER, 0.7),
        unsent(7, OTHER, 0.9),
        answered(8, READ, 1.2),
        answered(9, READ, 2.2),
    )
    assert begins == [True, True, False, False, True, True, False, False, True]

    def runs_of(name):
        return [(run.first.asked_s, run.count) for run in again.histories()[name].runs]

    # the last two samples of c0 lie further apart than the shortest dwell less the refresh
    assert runs_of("c0") == [(0.0, 2), (0.6, 2), (2.2, 1)]
    assert runs_of("c5") == [(0.2, 1), (0.7, 1)]


def test_what_was_asked_for_the_lines_sake_is_no_sample():
    again, begins = poll(answered(1, READ, 0.0, sign=True))
    assert begins == [False]
    assert len(again.histories()["c0"].runs) == 0


def test_what_reads_no_block_is_out_of_step():
    with pytest.raises(OutOfStepError, match="entry 1 reads nothing that was polled"):
        poll(answered(1, read_request(Table.HOLDING, 9, 1), 0.0))


@pytest.mark.parametrize(
    "block",
    [
        {"pdu": READ.hex(), "period_s": 1.0, "points": ["c9"]},
        {"pdu": READ.hex(), "period_s": 1.0, "points": ["c5"]},
        {"pdu": "6300000001", "period_s": 1.0, "points": ["c0"]},
        {"pdu": "", "period_s": 1.0, "points": ["c0"]},
        {"period_s": 1.0, "points": ["c0"]},
    ],
)
def test_blocks_that_are_not_the_sites_are_refused(block):
    with pytest.raises(OutOfStepError, match="block"):
        blocks_of({"blocks": [block]}, SITE)
