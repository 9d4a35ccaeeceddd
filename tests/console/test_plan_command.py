"""`gaswitness plan` as a user types it, at 80 columns, in a process of its own."""

import json
import os
import subprocess
import sys

import pytest

GASWITNESS = [sys.executable, "-c", "from gaswitness.cli import main; main()"]


def gaswitness(*arguments, here, hash_seed="random"):
    return subprocess.run(
        [*GASWITNESS, *map(str, arguments)],
        cwd=here,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ
        | {"PYTHONIOENCODING": "utf-8", "COLUMNS": "80", "PYTHONHASHSEED": hash_seed},
        timeout=100,
        check=False,
    )


def flat(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    here = tmp_path_factory.mktemp("plan")
    return gaswitness("plan", "demo", "-o", "plan.yaml", here=here), here


def test_it_writes_a_plan_and_says_what_it_takes(planned):
    done, here = planned
    assert done.returncode == 0, done.stderr
    assert (here / "plan.yaml").is_file()
    said = flat(done.stdout)
    assert "Plan of the test of GDP-1" in said
    assert "gas applications" in said
    assert "No plan can have less than" in said
    assert "Each kind of each cell alone, one after the other:" in said
    assert "Written to plan.yaml" in said
    assert done.stdout.splitlines()[-1] == "EVERY KIND OF EVERY CELL IS PLANNED: 346"


def test_it_fits_eighty_columns_and_cautions(planned):
    lines = planned[0].stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert not any(line != line.rstrip() for line in lines)
    assert "Caution: Testing gas alarms can move valves" in flat(planned[0].stdout)


def test_the_coverage_has_every_effect_and_a_legend(planned):
    said = planned[0].stdout
    coverage = said[said.index("Coverage") : said.index("Caution")]
    assert "15  S2  Sounder in the arena office" in coverage
    assert "R  rises in time, for each source that turns it alone" in coverage
    assert "   not " not in coverage, "nothing that applies is left out"
    row = next(line for line in coverage.splitlines() if "AT-104.A2" in line)
    assert sum(len(word) == 1 and word.isalpha() for word in row.split()[1:]) == 3


def test_the_plan_plays_as_any_script(planned):
    _, here = planned
    shown = gaswitness("trace", "demo", "--script", "plan.yaml", "--until", "60", here=here)
    assert shown.returncode == 0, shown.stderr


def test_an_edited_plan_is_never_overwritten(planned):
    _, here = planned
    again = gaswitness("plan", "demo", "-o", "plan.yaml", here=here)
    assert again.returncode == 2
    assert "plan.yaml is there already, and may have been edited: name another file" in flat(
        again.stderr
    )


def test_every_process_writes_the_same_plan(tmp_path):
    for seed in ("1", "2"):
        gaswitness("plan", "demo", "-o", f"{seed}.yaml", here=tmp_path, hash_seed=seed)
    assert (tmp_path / "1.yaml").read_bytes() == (tmp_path / "2.yaml").read_bytes()


def test_without_a_file_nothing_is_written(tmp_path):
    done = gaswitness("plan", "demo", "--only", "AT-201", here=tmp_path)
    assert "Nothing was written" in done.stdout
    assert list(tmp_path.iterdir()) == []
    assert "Fault, drop-out and return of AT-201" in done.stdout
    assert "Fault, drop-out and return of AT-202" not in done.stdout


def test_tests_that_are_not_there_are_refused(tmp_path):
    done = gaswitness("plan", "demo", "--only", "AT-999", here=tmp_path)
    assert done.returncode == 2
    assert "the plan has no tests of 'AT-999': write a tag, a test number from T-001" in flat(
        done.stderr
    )


def test_figures_for_machines(tmp_path):
    done = gaswitness("plan", "demo", "--json", here=tmp_path)
    found = json.loads(done.stdout)
    assert found["gaswitness_plan"] == 1
    assert found["panel"] == "GDP-1"
    assert found["gas_s"] == pytest.approx(sum(one["gas_s"] for one in found["tests"]), abs=1)
    assert found["lower_bound_s"] < found["gas_s"] < found["naive_gas_s"]
    assert all(cell["planned"] for cell in found["cells"])
    assert len({cell["cell"] for cell in found["cells"]}) == 40


def test_a_slow_line_makes_longer_holds_and_says_what_it_cannot_prove(tmp_path):
    quick = json.loads(gaswitness("plan", "demo", "--json", here=tmp_path).stdout)
    slow = json.loads(
        gaswitness(
            "plan", "demo", "--json", "--link", "rtu:///dev/ttyUSB0?baud=2400", here=tmp_path
        ).stdout
    )
    assert slow["length_s"] > quick["length_s"]
    assert quick["cannot_be_proven"] == []
    assert any("overloaded" in text for text in slow["cannot_be_proven"])


def test_what_is_left_out_makes_its_exit_code(tmp_path):
    gaswitness("demo", "site", here=tmp_path)
    matrix = tmp_path / "site" / "matrix.csv"
    matrix.write_text(matrix.read_text() + "panel.warm_up,K1,0,0,no,4,,\n")
    done = gaswitness("plan", "site", here=tmp_path)
    assert done.returncode == 3
    assert "panel.warm_up comes with each return of the supply only" in flat(done.stdout)
    assert "KINDS OF CELLS ARE PLANNED" in done.stdout.splitlines()[-1]
