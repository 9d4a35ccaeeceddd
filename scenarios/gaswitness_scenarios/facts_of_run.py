"""The facts that a reader of a run's record needs: software, files, clock. Gathered, not judged."""

import platform
import time
from collections.abc import Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version

from gaswitness_probe.evidence_entries import ClockFacts, KeptFile, RunFacts
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.result import RunKind
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.load import LoadedSite


def facts_of_run(
    kind: RunKind,
    site: LoadedSite,
    scripts: Sequence[Script],
    clock: LoopClock,
    link: str,
    driver: str,
    options: Mapping[str, str],
) -> RunFacts:
    """What ran, on what, against which files. `options` may hold `seed`, which is set apart."""
    rest = dict(options)
    seed = rest.pop("seed", None)
    return RunFacts(
        command=kind,
        software=software(),
        python=platform.python_version(),
        platform=platform.platform(),
        site_file=site.files[0].name,
        site_sha256=site.sha256,
        site_files=tuple(KeptFile(file.name, file.content) for file in site.files),
        scripts=tuple(KeptFile(f.name, f.content) for script in scripts for f in script.files),
        link=link,
        driver=driver,
        seed=None if seed is None else int(seed),
        clock=clock_facts(clock),
        options=rest,
    )


def clock_facts(clock: LoopClock) -> ClockFacts:
    """The clock, as the record states it."""
    if clock.is_virtual:
        return ClockFacts(
            kind="virtual", resolution_s=0.0, utc_anchor="virtual time has no date", speed=1.0
        )
    resolution_s = time.get_clock_info("perf_counter").resolution * clock.speed
    return ClockFacts(
        kind="wall", resolution_s=resolution_s, utc_anchor=clock.utc_of_zero, speed=clock.speed
    )


def software() -> str:
    """What runs, with its version."""
    try:
        return f"gaswitness {version('gaswitness')}"
    except PackageNotFoundError:
        return "gaswitness, not installed"
