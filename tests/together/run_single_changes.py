"""Every single change of a site, rehearsed: `python tests/together/run_single_changes.py --jobs 2`.

Each line of the record is one change and what became of it; a run that was stopped goes on where
it ended. `--plan` takes a plan in place of the scripts beside the site file. Exit code 1 where a
change was not failed, or failed without its name.
"""

import argparse
import json
import os
import sys
import time
from collections import Counter
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path

from change_rehearsals import library, planned, revealed
from single_changes import extra_cells, single_changes

from gaswitness_scenarios.library import demo_site_path
from gaswitness_scenarios.load import load_script
from gaswitness_sitefile.load import load_site


def changes_of(site, *, extra):
    return [*single_changes(site), *(extra_cells(site) if extra else ())]


LED = Counter()
"""How often a script led to a change of a kind, in this process."""


@cache
def loaded(where, plan):
    """A site and what is done to its panel, read once in every process."""
    site = load_site(where)
    return site, library(site) if plan is None else planned(load_script(plan, site.site))


def tried(number, where, plan, *, extra, seed):
    """The line of the record of one change."""
    site, stimuli = loaded(where, plan)
    change = changes_of(site.site, extra=extra)[number]
    begun = time.process_time()
    found = revealed(site, stimuli, change, seed, LED)
    return {
        "kind": change.kind,
        "words": change.words,
        "how": found.how,
        "failed": found.failed[:8],
        "took_s": round(time.process_time() - begun, 2),
    }


def lines_of(path):
    if not path.exists():
        return []
    return [json.loads(line) for line in path.read_text("utf-8").splitlines()]


def main():
    about = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    about.add_argument("--site", type=Path, default=demo_site_path())
    about.add_argument("--plan", type=Path, help="a plan; else the scripts beside the site file")
    about.add_argument("--extra", action="store_true", help="also every empty crossing filled")
    about.add_argument("--kind", action="append", help="only changes of this kind; repeatable")
    about.add_argument("--jobs", type=int, default=1)
    about.add_argument("--seed", type=int, default=0)
    about.add_argument("--record", type=Path, required=True, help="one JSON line a change")
    asked = about.parse_args()

    site = load_site(asked.site)
    done = {(one["kind"], one["words"]) for one in lines_of(asked.record)}
    every = changes_of(site.site, extra=asked.extra)
    left = [
        number
        for number, one in enumerate(every)
        if (one.kind, one.words) not in done and (not asked.kind or one.kind in asked.kind)
    ]
    one_more = partial(tried, where=asked.site, plan=asked.plan, extra=asked.extra, seed=asked.seed)
    with (
        get_context("fork").Pool(asked.jobs) as pool,
        asked.record.open("a", encoding="utf-8") as to,
    ):
        for at, line in enumerate(pool.imap_unordered(one_more, left), 1):
            to.write(json.dumps(line) + "\n")
            to.flush()
            os.fsync(to.fileno())
            if line["how"] in ("unnamed", "escaped"):
                print(f"{line['how']}: {line['kind']}: {line['words']}  {line['failed'][:3]}")
            if at % 50 == 0:
                print(f"{at} of {len(left)}", flush=True)
    counted = Counter((one["kind"], one["how"]) for one in lines_of(asked.record))
    for (kind, how), number in sorted(counted.items()):
        print(f"{kind:20} {how:13} {number:4}")
    return 1 if any(how in ("unnamed", "escaped") for _, how in counted) else 0


if __name__ == "__main__":
    sys.exit(main())
