"""What a test may claim on a site: verdicts that a run can come to, and the sides that each has.

A claim that names none would only be told at the end of the run, as something that was not seen.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from gaswitness_probe.output_time import MINIMUM, PULSE
from gaswitness_probe.output_witnessed import ACTING, AT_REST
from gaswitness_scenarios.plan_outcome import claim_of
from gaswitness_sitefile.problems import one_of
from gaswitness_sitefile.site import Site

LINK: Final = (
    "link/replies",
    "link/identification",
    "link/unmapped",
    "link/unit",
    "link/heartbeat",
    "link/exceptions",
    "link/second reader",
)
_WITNESSED: Final = (ACTING, AT_REST)
SIDES: Final[Mapping[str, tuple[str, ...]]] = {
    "cell": (
        "rises",
        "releases",
        "latches",
        "holds",
        "reset",
        "reset refused",
        "held off",
        PULSE,
        MINIMUM,
        *_WITNESSED,
    ),
    "level": (
        "setpoint",
        "clears",
        "latches",
        "reset",
        "reset refused",
        "delay",
        "held off",
        "in fault",
    ),
    "output": (
        "moves only for its causes",
        "mutes",
        "sounds again",
        "forced on",
        "forced off",
        "held off",
        PULSE,
        MINIMUM,
        *_WITNESSED,
    ),
    "flag": ("comes", "goes"),
}
"""By kind of verdict: what its sides are called. Those of other kinds are named by points."""


class ClaimNames:
    """The verdicts of one site, and of a script's own expectations, by kind."""

    def __init__(self, site: Site, facts: Iterable[str], expectations: Iterable[str]) -> None:
        levels = [f"{one.tag}.{name}" for one in site.channels for name in one.levels]
        acting = {f"{one.tag}.{what}" for one in site.outputs for what in ("active", "energised")}
        self._by_kind: dict[str, list[str]] = {
            "link": list(LINK),
            "point": [f"point/{one.name}" for one in site.points],
            "reading": [f"reading/{one.tag}" for one in site.channels],
            "flag": [f"flag/{one}" for one in facts if one not in {*levels, *acting}],
            "level": [f"level/{one}" for one in levels],
            "cell": [f"cell/{cell.id}" for cell in site.matrix],
            "output": [f"output/{one.tag}" for one in site.outputs],
            "expectation": [f"expectation/{one}" for one in expectations],
        }
        self._known = {one for names in self._by_kind.values() for one in names}

    def wrong(self, text: str) -> tuple[str, str] | None:
        """What is wrong with a claim, and how to mend it; None where nothing is."""
        if text in self._known:
            return None
        claim = claim_of(text)
        kind, slash, _ = claim.verdict_id.partition("/")
        if not slash or kind not in self._by_kind:
            return f"there is no verdict '{text}'", f"begin with {'/, '.join(self._by_kind)}/"
        if claim.verdict_id not in self._known:
            whole = text if kind == "expectation" else claim.verdict_id
            return (
                f"no run comes to a verdict '{whole}'",
                one_of(whole, self._by_kind[kind]),
            )
        sides = SIDES.get(kind, ())
        if not claim.aspect or not sides or claim.aspect in sides:
            return None
        return f"{claim.verdict_id} has no side '{claim.aspect}'", one_of(claim.aspect, sides)
