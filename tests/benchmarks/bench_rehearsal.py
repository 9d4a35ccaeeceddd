"""Times the rehearsal of a whole shift: `python bench_rehearsal.py [--channels N] [--hours H]`.

Everything that a user gets is in it: virtual panel, Modbus frames, poll, survey, judge, evidence.
Loading the files is told apart. `--profile FILE` writes a profile for pstats.
"""

import argparse
import cProfile
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from make_large_site import make_large_site

from gaswitness_scenarios import events
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site


class PhaseTimes:
    """Real seconds spent in each part of the run."""

    def __init__(self):
        self.spent_s = Counter()
        self.name = ""
        self.since = time.perf_counter()

    def __call__(self, event):
        if isinstance(event, events.Phase | events.RunFinished):
            now = time.perf_counter()
            self.spent_s[self.name] += now - self.since
            self.since = now
            self.name = event.name if isinstance(event, events.Phase) else ""
        if isinstance(event, events.Judged) and self.name == events.PhaseName.JUDGE:
            now = time.perf_counter()
            self.spent_s[self.name] += now - self.since
            self.name, self.since = "record of verdicts, end of evidence", now


def main():
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--channels", type=int, default=64)
    arguments.add_argument("--hours", type=float, default=8.0)
    arguments.add_argument("--profile", type=Path)
    given = arguments.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        site_path, script_path = make_large_site(
            Path(folder), channels=given.channels, hours=given.hours
        )
        site = load_site(site_path)
        script = load_script(script_path, site.site)
        print(f"making and loading site and script: {time.perf_counter() - begun:.2f} s")
        evidence = Path(folder) / "run.sqlite"
        times = PhaseTimes()
        profile = cProfile.Profile() if given.profile else None
        begun, cpu = time.perf_counter(), time.process_time()
        if profile:
            profile.enable()
        result = rehearse(site, [script], RehearsalOptions(evidence=evidence), times)
        if profile:
            profile.disable()
            profile.dump_stats(given.profile)
        took_s, cpu_s = time.perf_counter() - begun, time.process_time() - cpu
        for name, spent_s in times.spent_s.items():
            print(f"  {name or 'before the first phase'}: {spent_s:.2f} s")
        print(f"verdicts: {dict(Counter(str(v.outcome) for v in result.verdicts))}")
        print(
            f"exchanges: {result.stats.exchanges}, evidence {evidence.stat().st_size / 1e6:.0f} MB"
        )
        ratio = script.length_s / took_s
        print(
            f"{script.length_s / 3600:.2f} h x {len(site.site.channels)} channels rehearsed in "
            f"{took_s:.2f} s ({cpu_s:.2f} s of processor): {ratio:.0f} times real time"
        )


if __name__ == "__main__":
    main()
