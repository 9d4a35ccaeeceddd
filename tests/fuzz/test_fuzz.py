"""A small helping of what `run_fuzz.py` does at length."""

import random
import tracemalloc

import pytest
from fuzz_codecs import CODECS, ProbeMbap, case_line, corpus
from fuzz_mutations import damaged
from run_fuzz import fuzzed

FRAMES = 3000


@pytest.mark.parametrize("name", CODECS)
def test_nothing_that_comes_breaks_a_reader(name):
    found = fuzzed(CODECS[name], FRAMES, seed=20261125)
    assert [case_line(case) for case, _ in found.broken] == []
    assert found.good > FRAMES / 20  # the damage left enough whole to go deep
    assert found.slowest_s < 1.0


@pytest.mark.parametrize("name", CODECS)
def test_memory_stays_flat(name):
    codec, draw = CODECS[name](), random.Random(7)
    frames = [b"".join(case) for case in corpus(name)]
    cases = [damaged(draw, frames) for _ in range(500)]
    for case in cases:
        codec.take(case)
    tracemalloc.start()
    try:
        for case in cases:
            codec.take(case)
        before = tracemalloc.get_traced_memory()[0]
        for case in cases * 2:
            codec.take(case)
        assert tracemalloc.get_traced_memory()[0] - before < 50_000
    finally:
        tracemalloc.stop()


def test_reads_of_ever_other_addresses_fill_no_memory():
    codec = CODECS["simulator_mbap"]()
    frame = bytearray.fromhex("0001 0000 0006 01 04 0000 0001")
    tracemalloc.start()
    try:
        for address in range(20_000):
            frame[8:10] = address.to_bytes(2, "big")
            codec.take([bytes(frame)])
            if address == 5000:
                before = tracemalloc.get_traced_memory()[0]
        assert tracemalloc.get_traced_memory()[0] - before < 100_000
    finally:
        tracemalloc.stop()


class Careless(ProbeMbap):
    def check_pdu(self, asked, reply, *, refused):
        assert asked[0] != 4


def test_a_case_that_breaks_a_reader_is_told():
    found = fuzzed(Careless, 50, seed=0)
    assert found.broken
    case, words = found.broken[0]
    assert "AssertionError" in words
    assert bytes.fromhex(case_line(case).replace("|", "")) == b"".join(case)


@pytest.mark.parametrize("name", CODECS)
def test_a_seed_gives_the_same_cases(name):
    frames = [b"".join(case) for case in corpus(name)]
    runs = [[damaged(draw, frames) for _ in range(50)] for draw in map(random.Random, (1, 1, 2))]
    assert runs[0] == runs[1] != runs[2]
