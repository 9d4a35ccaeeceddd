"""The bodies of entries: plain JSON, and verdicts back from it."""

import json

from gaswitness_probe.applied import Applied, GasApplied
from gaswitness_probe.evidence_entries import (
    ClockFacts,
    KeptFile,
    RunFacts,
    applied_body,
    end_body,
    run_body,
    samples_body,
    verdict_body,
    verdict_of,
)
from gaswitness_probe.evidence_json import canonical
from gaswitness_probe.history import Seen
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Proof, Verdict

# SHA-256 of "abc": FIPS 180-2 appendix B.1.
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

VERDICT = Verdict(
    id="cell/AT-101.A1 > K1",
    kind=Kind.CELL,
    outcome=Outcome.FAILED,
    expected="K1 acts within 3 s",
    seen="K1 acted after 4.0 s to 4.5 s",
    response_s=(4.0, 4.5),
    because="later than allowed",
    proof=Proof.WITNESSED,
    aspects=(
        Aspect("rise", Outcome.FAILED, response_s=(4.0, 4.5), at_s=12.5),
        Aspect("hold", Outcome.NOT_RUN),
    ),
)


def test_a_verdict_comes_back_from_its_entry() -> None:
    assert verdict_of(json.loads(canonical(verdict_body(VERDICT)))) == VERDICT


def test_files_are_kept_whole_with_their_digest() -> None:
    body = run_body(
        RunFacts(
            command="rehearse",
            software="gaswitness 0.1.0",
            python="3.11",
            platform="Linux",
            site_file="site.yaml",
            site_sha256=ABC,
            site_files=(KeptFile("site.yaml", b"abc"), KeptFile("points.xlsx", b"PK\xff")),
            link="memory",
            clock=ClockFacts(kind="virtual", resolution_s=1e-6, utc_anchor="none: virtual time"),
        )
    )
    assert body["site_files"][0] == {"name": "site.yaml", "sha256": ABC, "text": "abc"}
    assert body["site_files"][1]["base64"] == "UEv/"
    assert body["clock"]["kind"] == "virtual"
    canonical(body)


def test_an_action_is_kept_with_its_name() -> None:
    applied = Applied(1.0, 2.0, GasApplied("AT-101", 25.0, 0.0, 0.0, 25.0))
    body = applied_body(applied)
    assert body["action"] == "GasApplied"
    assert (body["begun_s"], body["done_s"], body["level"]) == (1.0, 2.0, 25.0)


def test_samples_keep_the_value_of_what_changed() -> None:
    body = samples_body(Seen(1.0, 1.25), {"AT-101 reading": (20.5, (16804, 0))})
    assert body == {"asked_s": 1.0, "answered_s": 1.25, "points": {"AT-101 reading": 20.5}}


def test_the_end_counts_every_verdict() -> None:
    assert end_body("script over", [VERDICT])["summary"] == {
        "proven": 0,
        "failed": 1,
        "inconclusive": 0,
        "not_run": 0,
    }
