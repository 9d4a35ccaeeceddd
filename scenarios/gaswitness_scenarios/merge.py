"""One verdict an id: what the survey and the judge say of the same thing, put together."""

from collections.abc import Iterable
from typing import Final

from gaswitness_probe.judge import merged
from gaswitness_probe.verdict import Kind, Verdict

_PLACE: Final = {kind: n for n, kind in enumerate(Kind)}


def all_verdicts(*groups: Iterable[Verdict]) -> tuple[Verdict, ...]:
    """All verdicts, those of one id joined, by kind and then in order of first mention."""
    joined = merged(verdict for group in groups for verdict in group)
    return tuple(sorted(joined, key=lambda verdict: _PLACE[verdict.kind]))
