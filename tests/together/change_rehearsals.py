"""A site rehearsed against a panel with one thing changed: is it failed, and named?"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from single_changes import SingleChange

from gaswitness_scenarios.library import site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.load import LoadedSite


@dataclass(frozen=True)
class Revealed:
    """What a rehearsal of a changed panel came to: named, by its output (alone), unnamed (failed
    elsewhere), escaped."""

    how: str
    failed: tuple[str, ...]


@dataclass(frozen=True)
class Stimuli:
    """What is done to a panel: the whole, and its parts, each from rest to rest."""

    whole: tuple[Script, ...]
    parts: tuple[tuple[Script, frozenset[str]], ...]
    """Each with the ids of the verdicts that it says it proves; none where it does not say."""

    def likely(self, change: SingleChange, led: Counter) -> list[Script]:
        """The parts that say that they prove what was changed; of parts that do not say, all, those
        first that led to other changes of its kind."""
        said = [
            script
            for script, proves in self.parts
            if any(change.is_named_by(verdict_id) for verdict_id in proves)
        ]
        silent = [script for script, proves in self.parts if not proves]
        return said or sorted(silent, key=lambda script: -led[change.kind, script.name])


def library(site: LoadedSite) -> Stimuli:
    """The scripts that lie beside a site file."""
    scripts = tuple(load_script(path, site.site) for path in site_scripts(site.path))
    return Stimuli(scripts, tuple((script, frozenset()) for script in scripts))


def planned(script: Script) -> Stimuli:
    """A plan: each of its tests is a part."""
    parts = tuple(
        (_alone(script, part), frozenset(claim.partition(": ")[0] for claim in part.test.proves))
        for part in script.tests
    )
    return Stimuli((script,), parts)


def _alone(script: Script, part) -> Script:
    """One test of a plan after its preamble, as a script of its own."""
    preamble = [step for step in script.steps if step.at_s < script.tests[0].begin_s]
    back_s = part.begin_s - script.tests[0].begin_s
    moved = [replace(step, at_s=step.at_s - back_s) for step in part.steps]
    return replace(
        script,
        name=f"{script.name}-{part.test.id}",
        steps=(*preamble, *moved),
        length_s=part.end_s - back_s,
    )


def revealed(
    site: LoadedSite,
    stimuli: Stimuli,
    change: SingleChange,
    seed: int = 0,
    led: Counter | None = None,
) -> Revealed:
    """Rehearse the likely parts one by one, then the whole; a part that names it suffices.

    `led`: how often a script led to a change of a kind; kept from call to call.
    """
    panel = change.change(site.site)
    counted = Counter() if led is None else led
    for script in stimuli.likely(change, counted):
        found = _rehearsed(site, panel, (script,), change, seed)
        if found.how == "named":
            counted[change.kind, script.name] += 1
            return found
    return _rehearsed(site, panel, stimuli.whole, change, seed)


def _rehearsed(
    site: LoadedSite, panel, scripts: Sequence[Script], change: SingleChange, seed: int
) -> Revealed:
    result = rehearse(site, scripts, RehearsalOptions(seed=seed, panel_site=panel))
    failed = tuple(one.id for one in result.verdicts if one.outcome.value == "failed")
    if any(change.is_named_by(verdict_id) for verdict_id in failed):
        return Revealed("named", failed)
    if f"output/{change.effect}" in failed:
        return Revealed("by its output", failed)
    return Revealed("unnamed" if failed else "escaped", failed)
