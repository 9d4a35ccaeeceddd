import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.link_fault import (
    KINDS,
    Busy,
    ConnectionLimit,
    Delay,
    Exceptional,
    Flipped,
    Lasting,
    Late,
    LinkFault,
    ReadLimit,
    Scope,
    Silent,
    Split,
    Stray,
    values_of,
)
from gaswitness_sitefile.link_fault_text import (
    all_forms,
    parse_link_fault,
    parse_link_fault_kind,
    written_fault,
)
from gaswitness_sitefile.load import load_site


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (
            "late 0.2..1.5 s, 5 %, unit 1",
            LinkFault(Late(Delay(0.2, 1.5)), Scope(unit=1), Lasting(percent=5)),
        ),
        ("late 200 ms", LinkFault(Late(Delay(0.2, 0.2)))),
        ("late about 0.3 s", LinkFault(Late(Delay(0.3, 30.0, heavy=True)))),
        ("late about 0.3..4 s", LinkFault(Late(Delay(0.3, 4.0, heavy=True)))),
        (
            "exception 0B functionless, function 03, for 30 s",
            LinkFault(Exceptional(11, "functionless"), Scope(function=3), Lasting(for_s=30)),
        ),
        ("exception 11", LinkFault(Exceptional(11))),
        ("Exception 0x0B", LinkFault(Exceptional(11))),
        ("flipped 1 bit, 10 times", LinkFault(Flipped(1), lasting=Lasting(times=10))),
        ("split 3 pieces 20 ms", LinkFault(Split(3, Delay(0.02, 0.02)))),
        ("stray after", LinkFault(Stray(1, "after"))),
        ("stray 3 bytes between", LinkFault(Stray(3, "between"))),
        ("connection limit 2 oldest", LinkFault(ConnectionLimit(2, "oldest"))),
        ("read-limit 60 silent", LinkFault(ReadLimit(60, 3, "silent"))),
        ("read_limit 60 registers 02", LinkFault(ReadLimit(60, 2))),
        (
            "silent, every 20th, connection 2",
            LinkFault(Silent(), Scope(connection=2), Lasting(every=20)),
        ),
    ],
)  # fmt: skip
def test_a_fault_is_read_as_it_is_written(text, fault):
    assert parse_link_fault(text) == fault


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("lat 3 s", "did you mean late"),
        ("lat 3 s", "half-open"),
        ("", "begins with its kind"),
        ("late 5", "write late [T s]"),
        ("late 2..1 s", "write the shorter first"),
        ("flipped 4 bits", "write 1 to 3"),
        ("flipped 1.5 bits", "not one whole number"),
        ("busy, unit 1, unit 2", "comes twice"),
        ("busy, unit 300", "from 0 to 255"),
        ("busy, 0 %", "more than 0 and at most 100"),
        ("busy, sometimes", "says neither whom nor how long"),
        ("late 0,2 s", "does not take '0'"),
        ("needs-gap 1..2 s", "takes one time"),
        ("idle-limit 5 s, unit 1", "only 'for T s' may follow"),
        ("exception 300", "write 0 to 255"),
    ],
)
def test_what_cannot_be_read_is_refused_with_what_to_write(text, says):
    with pytest.raises(ValueError, match=re.escape(says)):
        parse_link_fault(text)


def test_a_kind_alone_is_read_and_more_is_refused():
    assert parse_link_fault_kind("half open") is KINDS["half-open"]
    with pytest.raises(ValueError, match="write its name alone"):
        parse_link_fault_kind("late 3 s")


def test_every_kind_has_a_form_a_sentence_and_values_that_may_be_left_out():
    assert len(all_forms()) == len(KINDS) == 30
    for name, (form, says) in zip(KINDS, all_forms(), strict=True):
        assert form.startswith(name)
        assert says.endswith(".")
        assert parse_link_fault(name) == LinkFault(KINDS[name]())


SECONDS = st.integers(1, 80_000).map(lambda ms: ms / 1000)


@st.composite
def faults(draw):
    """Any fault that can be written."""
    kind = draw(st.sampled_from(list(KINDS.values())))
    given_values = {}
    for name, facts in values_of(kind).items():
        if "words" in facts:
            given_values[name] = draw(st.sampled_from(facts["words"]))
        elif facts["unit"] != "s":
            given_values[name] = draw(st.integers(int(facts["least"]), int(facts["most"])))
        elif kind in (KINDS["needs-gap"], KINDS["idle-limit"]):
            given_values[name] = Delay(*[draw(SECONDS)] * 2)
        else:
            low, high = sorted((draw(SECONDS), draw(SECONDS)))
            given_values[name] = Delay(low, high, draw(st.booleans()))
    if kind in (KINDS["connection-limit"], KINDS["idle-limit"]):
        return LinkFault(kind(**given_values), Scope(), Lasting(draw(st.none() | SECONDS)))
    scope = Scope(*(draw(st.none() | st.integers(1, 255)) for _ in range(3)))
    lasting = Lasting(
        draw(st.none() | SECONDS),
        draw(st.none() | st.integers(1, 1000)),
        draw(st.integers(1, 1000)) / 10,
        draw(st.integers(1, 50)),
    )
    return LinkFault(kind(**given_values), scope, lasting)


@given(faults())
def test_whatever_is_written_reads_back_as_itself(fault):
    assert parse_link_fault(written_fault(fault)) == fault


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_words(text):
    try:
        found = written_fault(parse_link_fault(text))
    except ValueError as error:
        found = str(error)
    assert "write" in found or parse_link_fault(found) == parse_link_fault(text)


def test_a_site_file_s_link_faults_are_read_and_wrong_ones_refused_at_their_line(tmp_path):
    path = tmp_path / "site.yaml"
    text = (
        "gaswitness_site: 1\npanel: {tag: GDP-1}\n"
        "channels: [{tag: AT-1, gas: CH4, unit: '%LEL', range: [0, 100]}]\n"
        "points: [{name: r, table: input register, address: 0, type: int16, shows: AT-1.reading}]\n"
        "link_faults:\n  - busy, 5 %\n"
    )
    path.write_text(text, encoding="utf-8")
    assert load_site(path).site.faults_of_link == (LinkFault(Busy(), lasting=Lasting(percent=5)),)
    path.write_text(text + "  - lat 3 s\n", encoding="utf-8")
    with pytest.raises(SiteFileError) as caught:
        load_site(path)
    (problem,) = caught.value.problems
    assert problem.place.line == 7
    assert "did you mean late" in str(problem)
