"""Exchanges back from the record: what bytes show is worked out anew, never believed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_probe.deviation import Deviation, LinkProblem
from gaswitness_probe.evidence_entries import exchange_body
from gaswitness_probe.kept_exchange import (
    OutOfStepError,
    exchange_of,
    framed_as_rtu,
    problem_of,
    request_pdu,
)

# Read Holding Registers, V1.1b3 clause 6.3: three registers from 006Bh, 022B 0000 0064.
READ = bytes.fromhex("03006b0003")
REPLY = bytes.fromhex("0306022b00000064")
TCP = {"request": "000100000006 11 03006b0003", "response": "000100000009 11 0306022b00000064"}
# Their CRCs were worked out bit by bit as V1.02 clause 6.2.2 says, apart from our table.
RTU = {"request": "11 03006b0003 7687", "response": "11 0306022b00000064 c8ba"}


def body(frames, **more):
    cut = {name: text.replace(" ", "") for name, text in frames.items()}
    return {"sent_s": 1.0, "received_s": 1.25, "problem": None, **cut, **more}


@pytest.mark.parametrize(("frames", "rtu"), [(TCP, False), (RTU, True)])
def test_an_answer_comes_back_with_its_bytes(frames, rtu):
    found = exchange_of(7, body(frames), rtu=rtu)
    assert (found.seq, found.sent_s, found.received_s, found.pdu) == (7, 1.0, 1.25, REPLY)
    assert found.ok
    assert found.payload == REPLY[2:]
    assert request_pdu(found, rtu=rtu) == READ
    assert exchange_body(found) == body(frames)


def test_an_exception_is_read_out_of_the_bytes():
    found = exchange_of(1, body(TCP, response="000100000003118302"), rtu=False)
    assert (found.ok, found.problem, found.exception_code) == (False, None, 2)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"response": "000200000009110306022b00000064"}, "do not fit together"),
        ({"response": "000100010009110306022b00000064"}, "do not fit together"),
        ({"response": "000100000009120306022b00000064"}, "do not fit together"),
        ({"response": "00010000000a110306022b00000064"}, "do not fit together"),
        ({"response": "000100000009110306022b000000"}, "do not fit together"),
        ({"response": ""}, "do not fit together"),
        ({"request": ""}, "do not fit together"),
        ({"response": "000100000009110406022b00000064"}, "wrong function"),
        ({"response": "000100000007110304022b0000"}, "wrong byte count"),
        ({"request": "00010000000611030000ffff"}, "wrong byte count"),
        ({"received_s": 0.5}, "answered before it was asked"),
        ({"received_s": "NaN"}, "answered before it was asked"),
        ({"response": "zz"}, "is no exchange"),
        ({"problem": "a bad day"}, "nothing that a link does"),
    ],
)
def test_what_does_not_fit_is_refused(change, words):
    with pytest.raises(OutOfStepError, match=words):
        exchange_of(1, body(TCP, **change), rtu=False)


def test_a_wrong_crc_is_no_answer():
    with pytest.raises(OutOfStepError, match="do not fit together"):
        exchange_of(1, body(RTU, response="110306022b00000064c8bb"), rtu=True)


@given(
    st.sampled_from(Deviation),
    st.binary(max_size=12),
    st.sampled_from(["", "nothing came within 1 s", "a: b [x] (2)", "asked 03, answered 04"]),
)
def test_every_problem_comes_back_from_its_words(deviation, raw, detail):
    problem = LinkProblem(deviation, raw, detail)
    assert problem_of(str(problem)) == problem


def test_what_could_not_be_sent_comes_back():
    stored = body(
        {"request": "", "response": ""}, problem="no connection: cable", unsent=READ.hex()
    )
    found = exchange_of(1, stored, rtu=True)
    assert found.problem == LinkProblem(Deviation.NO_CONNECTION, detail="cable")
    assert request_pdu(found, rtu=True) == READ
    assert exchange_body(found) == stored


def test_the_link_tells_the_frames():
    assert [framed_as_rtu(link) for link in ("rtu:COM3?baud=9600", "rtu+tcp://192.0.2.1:502")] == [
        True,
        True,
    ]
    assert not framed_as_rtu("tcp://192.0.2.1:502/1")
    assert (framed_as_rtu("memory-rtu"), framed_as_rtu("memory")) == (True, False)
