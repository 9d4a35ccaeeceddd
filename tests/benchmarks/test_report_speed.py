"""How long the report of a plan for 24 detectors takes, PDF included, beside its rehearsal."""

import time
from pathlib import Path

import pytest

from gaswitness.cli import run

SITE = Path(__file__).parents[2] / "scenarios" / "sites" / "thornquay"


def timed(*arguments: str) -> tuple[float, float]:
    """Seconds by the clock on the wall, and of the processors."""
    begun, used = time.perf_counter(), time.process_time()
    assert run(arguments) in (0, 3)
    return time.perf_counter() - begun, time.process_time() - used


@pytest.mark.benchmark
@pytest.mark.timeout(900)
def test_a_report_takes_less_than_the_rehearsal(tmp_path: Path) -> None:
    plan, record = tmp_path / "plan.yaml", tmp_path / "run"
    run(["plan", str(SITE), "-o", str(plan)])
    played = timed("rehearse", str(SITE), "--script", str(plan), "--out", str(record), "--quiet")
    bare = timed("report", str(record), "-o", str(tmp_path / "bare"))
    whole = timed("report", str(record), "-o", str(tmp_path / "whole"), "--pdf")
    for name, (wall_s, used_s) in (("rehearsal", played), ("report", bare), ("with PDF", whole)):
        print(f"{name}: {wall_s:.1f} s, {used_s:.1f} s of processors")
    size = (tmp_path / "whole" / "report.pdf").stat().st_size
    print(
        f"PDF {size / 1e6:.1f} MB, evidence {(record / 'run.sqlite').stat().st_size / 1e6:.1f} MB"
    )
    assert whole[1] < played[1]
