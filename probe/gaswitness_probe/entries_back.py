"""From the bodies of entries back to what was written: facts of the run, actions, looks and
expectations. The inverse of `evidence_entries`. Pure."""

import math
from base64 import b64decode
from collections.abc import Mapping
from typing import Any, Final, get_args

from gaswitness_probe.applied import Action, Applied, Expectation, Looked
from gaswitness_probe.evidence_entries import ClockFacts, KeptFile, RunFacts
from gaswitness_probe.evidence_file import EvidenceError

_ACTIONS: Final = {action.__name__: action for action in get_args(Action)}
_NOT_IN_JSON: Final = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}
_INSTANTS: Final = ("begun_s", "done_s", "action")


def facts_of(body: Mapping[str, Any]) -> RunFacts:
    """The facts that the entry `run` holds."""
    return RunFacts(
        **{
            **body,
            "clock": ClockFacts(**body["clock"]),
            "site_files": tuple(map(kept_file_of, body["site_files"])),
            "scripts": tuple(map(kept_file_of, body["scripts"])),
        }
    )


def kept_file_of(body: Mapping[str, str]) -> KeptFile:
    """The file that a body holds whole.

    Raises EvidenceError where its content is not what its digest says.
    """
    text = body.get("text")
    content = b64decode(body["base64"]) if text is None else text.encode("utf-8")
    kept = KeptFile(body["name"], content)
    if kept.sha256 != body["sha256"]:
        raise EvidenceError(f"the kept file {kept.name} is not the one that its digest names")
    return kept


def applied_of(body: Mapping[str, Any]) -> Applied:
    """The action that the entry `applied` holds."""
    particulars = {name: _number(value) for name, value in body.items() if name not in _INSTANTS}
    action = _ACTIONS[body["action"]](**particulars)
    return Applied(body["begun_s"], body["done_s"], action)


def looked_of(body: Mapping[str, Any]) -> Looked:
    """What the entry `looked` says that a person saw."""
    return Looked(**body)


def expectation_of_body(body: Mapping[str, Any]) -> Expectation:
    """The expectation that the entry `expected` holds."""
    between = body["between"]
    if between is not None:
        low, high = map(_number, between)
        between = (low, high)
    names = [name for name in ("from_s", "within_s", "for_s", "since_s") if name in body]
    numbers = {name: _number(body[name]) for name in names}
    return Expectation(**{**body, **numbers, "between": between})


def _number(value: Any) -> Any:
    """JSON has no infinity: where a number stands, these texts are one."""
    return _NOT_IN_JSON.get(value, value) if isinstance(value, str) else value
