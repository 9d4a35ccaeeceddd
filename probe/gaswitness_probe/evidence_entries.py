"""What stands in the entries of evidence, kind by kind, as plain JSON bodies; and back. No I/O.

run       RunFacts: what ran, on what, against which site file and scripts, all files in full
exchange  request and response in hex, sent_s, received_s, problem in words or null;
          notes, only where there are any: what else came, in words with its bytes in hex;
          sign, only where true: asked for the line's sake, to tell late replies apart;
          unsent, only where nothing could be sent: the PDU that was to go
second    what the other reader got: opened (and why not), or the place, words, and its frames
surveyed  the survey is over; instants: what its clock showed whenever it looked at it
polling   a poll begins: the blocks that it reads (PDU, seconds between two reads, points), and the
          points that the panel refuses
samples   asked_s, answered_s, points: name -> {value, raw}, for points that changed
step      number, what it asks for in words, file and line of the script
applied   begun_s, done_s, action and its particulars
looked    fact, value, asked_s, answered_s
expected  an expectation of the tester's own, as the judge is given it
people    role, name, initials, company: one entry for each who takes part
instrument, test_gas   what was measured and tested with, with certificates
test      a test of a plan begins: id, title, attempt, proves, moves, first, begun_s
test_end  id, attempt, ended_s, how (done, skipped, stopped, broken off), reason
test_live id, attempt, live (outcome), because: what the judge made of it while the run went on
at_rest   the panel was brought back to rest after the test that broke off: id
initials  test, attempt, role, name, initials, at_utc
attachment  name, sha256, base64, media_type, about (a test or empty), words
deviation number, category, text, about, by: what goes on the punch list
resumed   a run that broke off goes on: after_s, clock
remark    text of a person or of the run itself; about: a test, where it is about one
judging   low_s, high_s, link: what the judge was asked for; the verdicts after the last one count
verdict   a verdict with its aspects
end       how the run ended, and counts by verdict
"""

from base64 import b64encode
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from typing import Any

from gaswitness_probe.applied import Applied, Expectation, Looked
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.frames import read_request
from gaswitness_probe.history import Seen, Value
from gaswitness_probe.read_plan import Block
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Proof, Verdict


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file that the run was made with, kept whole."""

    name: str
    content: bytes

    @property
    def sha256(self) -> str:
        """Digest of the content, in hex."""
        return sha256(self.content).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFacts:
    """Which clock counted the run.

    `kind`: `virtual` or `wall`. `resolution_s`: its smallest tick. `utc_anchor`: what instant 0 of
    the run was in UTC, ISO 8601; a fixed text in virtual time. `speed`: panel seconds a second.
    """

    kind: str
    resolution_s: float
    utc_anchor: str
    speed: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """What a reader of the record must know to trust it.

    `site_sha256` is the site's digest over all its files; `site_file` the name of the first of
    `site_files`. `link` as in `tcp://192.0.2.10:502/1`, or `memory`. `driver`: who plays the
    script: `simulator`, `person`, `auto`, or empty where there is none.
    """

    command: str
    software: str
    python: str
    platform: str
    site_file: str
    site_sha256: str
    site_files: tuple[KeptFile, ...]
    scripts: tuple[KeptFile, ...] = ()
    link: str
    driver: str = ""
    seed: int | None = None
    clock: ClockFacts
    options: Mapping[str, str] = field(default_factory=dict)


def run_body(facts: RunFacts) -> dict[str, Any]:
    """The body of the entry `run`. A file that is no UTF-8 text is kept in base64."""
    return {
        **{name: getattr(facts, name) for name in _PLAIN_FACTS},
        "clock": asdict(facts.clock),
        "options": dict(facts.options),
        "site_files": [_file_body(kept) for kept in facts.site_files],
        "scripts": [_file_body(kept) for kept in facts.scripts],
    }


_PLAIN_FACTS = (
    "command",
    "software",
    "python",
    "platform",
    "site_file",
    "site_sha256",
    "link",
    "driver",
    "seed",
)


def _file_body(kept: KeptFile) -> dict[str, str]:
    body = {"name": kept.name, "sha256": kept.sha256}
    try:
        return body | {"text": kept.content.decode("utf-8")}
    except UnicodeDecodeError:
        return body | {"base64": b64encode(kept.content).decode("ascii")}


def exchange_body(exchange: Exchange) -> dict[str, Any]:
    """The body of the entry `exchange`, of any exchange; nearly all have a shorter way."""
    body: dict[str, Any] = {
        "sent_s": exchange.sent_s,
        "received_s": exchange.received_s,
        "request": exchange.request.hex(),
        "response": exchange.response.hex(),
        "problem": None if exchange.problem is None else exchange.words,
    }
    if exchange.notes:
        body["notes"] = [str(note) for note in exchange.notes]
    if exchange.sign:
        body["sign"] = True
    if exchange.unsent:
        body["unsent"] = exchange.unsent.hex()
    return body


def samples_body(
    seen: Seen, changes: Mapping[str, tuple[Value, tuple[int, ...]]]
) -> dict[str, Any]:
    """The body of the entry `samples`: what one exchange changed.

    Every other point of the exchange still shows what its last entry said. The raw registers stand
    in the exchange of the same two instants, just before.
    """
    return {
        "asked_s": seen.asked_s,
        "answered_s": seen.answered_s,
        "points": {name: value for name, (value, _) in changes.items()},
    }


def polling_body(blocks: Iterable[Block], refused: Iterable[str]) -> dict[str, Any]:
    """The body of the entry `polling`."""
    return {
        "blocks": [
            {
                "pdu": read_request(block.table, block.address, block.count).hex(),
                "period_s": block.period_s,
                "points": [point.name for point in block.points],
            }
            for block in blocks
        ],
        "refused": list(refused),
    }


def step_body(*, number: int, words: str, place: str = "") -> dict[str, Any]:
    """The body of the entry `step`; `place` is `file:line`."""
    return {"number": number, "words": words, "place": place}


def applied_body(applied: Applied) -> dict[str, Any]:
    """The body of the entry `applied`."""
    return {
        "begun_s": applied.begun_s,
        "done_s": applied.done_s,
        "action": type(applied.action).__name__,
        **asdict(applied.action),
    }


def looked_body(looked: Looked) -> dict[str, Any]:
    """The body of the entry `looked`."""
    return asdict(looked)


def expected_body(expectation: Expectation) -> dict[str, Any]:
    """The body of the entry `expected`."""
    return asdict(expectation)


def judging_body(span_s: tuple[float, float], link: str) -> dict[str, Any]:
    """The body of the entry `judging`: the span judged, and the link by which it was seen."""
    return {"low_s": span_s[0], "high_s": span_s[1], "link": link}


def remark_body(text: str, *, by: str = "", about: str = "") -> dict[str, Any]:
    """The body of the entry `remark`; `by` is who said it, `about` the test that it is about."""
    body = {"text": text, "by": by}
    return body | {"about": about} if about else body


def verdict_body(verdict: Verdict) -> dict[str, Any]:
    """The body of the entry `verdict`; an aspect has its own `proof` where it is another."""
    body = asdict(verdict)
    for aspect in body["aspects"]:
        if aspect["proof"] is None:
            del aspect["proof"]
    return body


def verdict_of(body: Mapping[str, Any]) -> Verdict:
    """The verdict that an entry holds."""
    aspects = tuple(_aspect_of(aspect) for aspect in body["aspects"])
    return Verdict(
        **{
            **body,
            "kind": Kind(body["kind"]),
            "outcome": Outcome(body["outcome"]),
            "proof": Proof(body["proof"]),
            "response_s": _interval(body),
            "aspects": aspects,
        }
    )


def _aspect_of(body: Mapping[str, Any]) -> Aspect:
    proof = body.get("proof")
    return Aspect(
        **{
            **body,
            "outcome": Outcome(body["outcome"]),
            "response_s": _interval(body),
            "proof": None if proof is None else Proof(proof),
        }
    )


def _interval(body: Mapping[str, Any]) -> tuple[float, float] | None:
    found = body["response_s"]
    return None if found is None else (float(found[0]), float(found[1]))


def end_body(why: str, verdicts: Iterable[Verdict]) -> dict[str, Any]:
    """The body of the entry `end`: `why` it ended, in words, and how many verdicts of each kind."""
    outcomes = [verdict.outcome for verdict in verdicts]
    return {"why": why, "summary": {str(which): outcomes.count(which) for which in Outcome}}
