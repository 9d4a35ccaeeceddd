"""`gaswitness timing` as a user types it, at 80 columns, in a process of its own."""

import os
import re
import socket
import subprocess
import sys
import time

import pytest

GASWITNESS = [sys.executable, "-c", "from gaswitness.cli import main; main()"]


def gaswitness(*arguments, here):
    return subprocess.run(
        [*GASWITNESS, *map(str, arguments)],
        cwd=here,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONIOENCODING": "utf-8", "COLUMNS": "80"},
        timeout=100,
        check=False,
    )


def flat(text):
    return " ".join(text.split())


@pytest.fixture(scope="module")
def of_the_demo(tmp_path_factory):
    return gaswitness("timing", "demo", here=tmp_path_factory.mktemp("timing"))


def test_the_demo_can_be_proven_over_its_own_link(of_the_demo):
    assert of_the_demo.returncode == 0, of_the_demo.stderr
    said = flat(of_the_demo.stdout)
    assert "Polling GDP-1 over tcp://127.0.0.1:5020/1" in said
    assert "One cycle: 6 requests" in said
    assert "ALL CELLS CAN BE PROVEN AT THIS PACE (cells: 40 sure;" in said


def test_it_fits_eighty_columns_and_ends_in_caution_and_conclusion(of_the_demo):
    lines = of_the_demo.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert not any(line != line.rstrip() for line in lines)
    assert "Caution: This is arithmetic" in flat(of_the_demo.stdout)
    assert any(line.startswith("ALL CELLS") for line in lines[-2:])


def test_every_cell_and_each_delayed_level_has_its_line(of_the_demo):
    said = flat(of_the_demo.stdout)
    assert len(re.findall(r"\d\.\d\d +[\d.]+ +(?:yes|by luck|no)\b", said)) == 41
    assert "AT-401.A1 > F3 1.25 4 yes" in said
    assert "AT-401.A1 1.25 2.1 by luck 0.139 s (fast)" in said


def test_a_slow_line_cannot_carry_it_and_says_what_would_do(tmp_path):
    done = gaswitness("timing", "demo", "--link", "rtu:///dev/none?baud=9600", here=tmp_path)
    said = flat(done.stdout)
    assert done.returncode == 3
    assert "The pace takes 115% of the link; polls will be missed" in said
    assert "characters of 11 bits at 9600, a silence of 4.0 ms each way" in said
    assert "AT-201.fault > V1 2.43 7 by luck 0.78 s" in said
    assert "NOT ALL CAN BE PROVEN AT THIS PACE (cells: 35 sure, 5 if the polls fall well;" in said


def test_by_a_name_of_the_site_file(tmp_path):
    done = gaswitness("timing", "demo", "--link", "building management", here=tmp_path)
    assert done.returncode == 0
    wrong = gaswitness("timing", "demo", "--link", "attic", here=tmp_path)
    assert wrong.returncode == 2
    assert "'building management'" in wrong.stderr


def test_what_stands_in_the_way_besides_the_pace_is_said(tmp_path):
    assert gaswitness("demo", "mine", here=tmp_path).returncode == 0
    points = tmp_path / "mine" / "points.csv"
    text = points.read_text(encoding="utf-8")
    kept = [line for line in text.splitlines() if ",K1.active," not in line + ","]
    kept = [line for line in kept if ",K1.energised" not in line]
    assert len(kept) < len(text.splitlines())
    points.write_text("\n".join(kept) + "\n", encoding="utf-8")
    done = gaswitness("timing", "mine", here=tmp_path)
    assert done.returncode == 3
    assert "panel.fault > K1 - 4 no see below" in flat(done.stdout)
    assert "panel.fault > K1: no point shows K1.active: a person has to look." in flat(done.stdout)


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as found:
        return found.getsockname()[1]


def test_nothing_to_measure_is_no_link(tmp_path):
    link = f"tcp://127.0.0.1:{free_port()}/1"
    done = gaswitness("timing", "demo", "--link", link, "--measure", here=tmp_path)
    assert done.returncode == 4
    assert "Traceback" not in done.stderr


def test_a_served_panel_is_measured_and_compared(tmp_path):
    port = free_port()
    serving = subprocess.Popen(
        [*GASWITNESS, "serve", "demo", "--listen", f"127.0.0.1:{port}"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        assert "listening" in serving.stdout.readline()
        begun = time.perf_counter()
        link = f"tcp://127.0.0.1:{port}/1"
        done = gaswitness(
            "timing", "demo", "--link", link, "--measure", "--cycles", 3, here=tmp_path
        )
        took_s = time.perf_counter() - begun
    finally:
        serving.terminate()
        serving.wait(10)
        serving.stdout.close()
    said = flat(done.stdout)
    assert done.returncode == 0, done.stderr
    assert took_s >= 1.0  # three cycles at the site's pace of 0.5 s
    assert "Measured, in milliseconds" in said
    assert re.search(r"input register 0 to 58 25\.1 \d+\.\d \d+\.\d \d+\.\d", said)
    assert re.search(r"the whole cycle 200\.\d \d+\.\d \d+\.\d \d+\.\d", said)
    assert "Over 3 cycles at the site file's pace." in said
    assert "3 cycles at the site file's pace" in done.stderr
