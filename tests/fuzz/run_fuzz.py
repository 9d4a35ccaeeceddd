"""Damaged frames into every reader of frames: `python tests/fuzz/run_fuzz.py --frames 1000000`.

Every case of the corpus first, then as many as are asked for, of a seed. What breaks one is added
to the corpus and told. Exit code 1 then.
"""

import argparse
import random
import sys
import time
import traceback
from dataclasses import dataclass
from pathlib import Path

from fuzz_codecs import CODECS, CORPUS, case_line, corpus
from fuzz_mutations import damaged

SLOWEST_S = 1.0
MOST_GROWTH_KIB = 8192


@dataclass
class Outcome:
    """Times are the process's own, not what others left of the machine.

    `broken`: the cases that raised, or took longer than SLOWEST_S. `good`: frames that were
    answered or accepted. `growth_kib`: of the process, from the first tenth to the end; None where
    the system does not say.
    """

    frames: int
    took_s: float
    slowest_s: float
    broken: list
    good: int
    growth_kib: int | None


def memory_kib():
    """The memory of this process that is in use; None where the system does not say."""
    try:
        return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * 4
    except OSError:
        return None


def fuzzed(make, frames, seed):
    """Feed `frames` damaged cases to a codec, all of its corpus before."""
    codec, draw = make(), random.Random(f"{seed} of {make.name}")
    kept, good = corpus(make.name), 0
    whole = [b"".join(case) for case in kept]
    broken, slowest_s, early = [], 0.0, None
    begun = time.process_time()
    for number in range(len(kept) + frames):
        case = kept[number] if number < len(kept) else damaged(draw, whole)
        at = time.process_time()
        try:
            codec.take(case)
        except Exception:  # noqa: BLE001  whatever it is, it must not be
            broken.append((case, traceback.format_exc()))
            good += codec.good
            codec = make()
        took_s = time.process_time() - at
        slowest_s = max(slowest_s, took_s)
        if took_s > SLOWEST_S:
            broken.append((case, f"took {took_s:.1f} s"))
        if number == frames // 10:
            early = memory_kib()
    late = memory_kib()
    growth = None if early is None or late is None else late - early
    return Outcome(
        frames, time.process_time() - begun, slowest_s, broken, good + codec.good, growth
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=100_000, help="for each codec")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--codec", choices=CODECS, action="append")
    chosen = parser.parse_args()
    wrong = 0
    for name in chosen.codec or CODECS:
        found = fuzzed(CODECS[name], chosen.frames, chosen.seed)
        grown = "?" if found.growth_kib is None else f"{found.growth_kib:+d}"
        print(
            f"{name}: {found.frames} cases in {found.took_s:.1f} s, {found.good} good, slowest "
            f"{1000 * found.slowest_s:.1f} ms, memory {grown} KiB, {len(found.broken)} broken",
            flush=True,
        )
        with (CORPUS / f"{name}.hex").open("a", encoding="utf-8") as kept:
            for case, words in found.broken[:5]:
                kept.write(f"{case_line(case)}\n")
                print(words, "case added to the corpus:", case_line(case), sep="\n")
        wrong += len(found.broken)
        if found.growth_kib is not None and found.growth_kib > MOST_GROWTH_KIB:
            print(f"{name}: memory grew")
            wrong += 1
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
