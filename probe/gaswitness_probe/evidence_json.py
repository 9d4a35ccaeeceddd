"""Canonical JSON of evidence: the same facts always make the same bytes. No I/O.

Keys sorted, no blanks, text as itself, floats in their shortest form. Numbers that JSON does not
know are written as the texts `NaN`, `Infinity`, `-Infinity`.
"""

import json
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

_encode: Final[Callable[[Any], str]] = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
).encode


def canonical(body: Mapping[str, Any]) -> bytes:
    """The body as canonical JSON in UTF-8.

    Raises TypeError for what JSON has no form for.
    """
    try:
        text = _encode(body)
    except ValueError:
        text = _encode(_sayable(body))
    # Half a surrogate pair (a terminal may send one) has no UTF-8; as an escape it is JSON still.
    return text.encode("utf-8", "backslashreplace")


def canonical_exchange(  # one argument a key
    sent_s: float,
    received_s: float,
    request: bytes,
    response: bytes,
    problem: str | None,
    notes: Sequence[str] = (),
) -> bytes:
    """Exactly `canonical` of an exchange's body, at a fraction of its price.

    Exchanges are nearly all of a record; the rest of the price is in the hash.
    """
    words = "null" if problem is None else _encode(problem)
    beside = f'"notes":{_encode(list(notes))},' if notes else ""
    return (
        f'{{{beside}"problem":{words},"received_s":{received_s!r},"request":"{request.hex()}",'
        f'"response":"{response.hex()}","sent_s":{sent_s!r}}}'
    ).encode("utf-8", "backslashreplace")


def _sayable(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return "NaN" if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"
    if isinstance(value, Mapping):
        return {key: _sayable(inner) for key, inner in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_sayable(inner) for inner in value]
    return value
