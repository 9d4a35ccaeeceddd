"""`verdicts.json`: verdicts for machines. Its form is in `verdicts.schema.json` and README.

Equal input gives equal bytes: keys sorted, verdicts in the order of their kinds, times rounded to
microseconds, and nothing of the wall clock in it.
"""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from typing import Any, Final

from gaswitness.about import AboutRun
from gaswitness.wording import counts
from gaswitness_probe.shown_defects import ShownDefects
from gaswitness_probe.verdict import Aspect, Interval, Kind, Proof, Verdict
from gaswitness_scenarios.plan_outcome import ClaimOutcome, PlanOutcome

FORMAT: Final = 1


def verdicts_json(
    verdicts: Sequence[Verdict],
    about: AboutRun,
    map_defects: ShownDefects | None = None,
    tests: Sequence[PlanOutcome] = (),
) -> str:
    """The whole file as text, ending in a newline.

    `map_defects`: those that the run would have shown; None where nothing was played. `tests`: what
    became of those of a plan that were to be done.
    """
    rank = {kind: at for at, kind in enumerate(Kind)}
    document = {
        "gaswitness_verdicts": FORMAT,
        "run": _about(about),
        "summary": {str(outcome): number for outcome, number in counts(verdicts).items()},
        "map_defects": None if map_defects is None else _map_defects(map_defects),
        "tests": [_test(one) for one in tests],
        "verdicts": [_verdict(found) for found in sorted(verdicts, key=lambda v: rank[v.kind])],
    }
    text = json.dumps(document, sort_keys=True, indent=2, ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "backslashreplace").decode("utf-8") + "\n"


def verdicts_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the file."""
    text = files("gaswitness").joinpath("verdicts.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _about(about: AboutRun) -> dict[str, Any]:
    return asdict(about) | {"span_s": _interval(about.span_s)}


def _map_defects(found: ShownDefects) -> dict[str, Any]:
    return {
        "shown": len(found.shown),
        "share": round(found.share, 4),
        "not_shown": [asdict(one) for one in found.not_shown],
        "alike": [
            {"kind": one.kind, "place": one.place, "because": one.because} for one in found.alike
        ],
    }


def _test(found: PlanOutcome) -> dict[str, Any]:
    test = found.test
    return {
        "id": test.id,
        "title": test.title,
        "attempt": test.attempt,
        "how": test.how,
        "verdict": str(found.outcome),
        "because": found.because,
        "claims": [_claim(one) for one in found.claims],
        "beside": [_claim(one) for one in found.beside],
    }


def _claim(one: ClaimOutcome) -> dict[str, str]:
    return {
        "claim": str(one.claim),
        "verdict": str(one.outcome),
        "because": one.because,
    }


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "id": verdict.id,
        "kind": str(verdict.kind),
        "verdict": str(verdict.outcome),
        "expected": verdict.expected,
        "seen": verdict.seen,
        "response_s": _interval(verdict.response_s),
        "because": verdict.because,
        "proof": str(verdict.proof),
        "aspects": [_aspect(aspect, verdict.proof) for aspect in verdict.aspects],
    }


def _aspect(aspect: Aspect, proof: Proof) -> dict[str, Any]:
    return {
        "name": aspect.name,
        "verdict": str(aspect.outcome),
        "expected": aspect.expected,
        "seen": aspect.seen,
        "response_s": _interval(aspect.response_s),
        "because": aspect.because,
        "proof": str(aspect.proof or proof),
        "at_s": _instant(aspect.at_s),
    }


def _interval(interval: Interval | None) -> list[float] | None:
    if interval is None or not all(math.isfinite(end) for end in interval):
        return None
    return [_microseconds(end) for end in interval]


def _instant(at_s: float | None) -> float | None:
    return None if at_s is None or not math.isfinite(at_s) else _microseconds(at_s)


def _microseconds(seconds: float) -> float:
    return round(float(seconds), 6) + 0.0
