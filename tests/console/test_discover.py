"""`gaswitness discover`, as a user types it."""

import subprocess
import sys
from pathlib import Path

import pytest

SALTMARSH = Path(__file__).parents[2] / "scenarios" / "sites" / "saltmarsh"


def typed(*words, cwd):
    return subprocess.run(
        [sys.executable, "-c", "from gaswitness.cli import main; main()", *words],
        cwd=cwd,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize("site", ["demo", str(SALTMARSH)], ids=["demo", "saltmarsh"])
def test_what_it_writes_loads_without_an_error(tmp_path, site):
    assert typed("discover", site, "-o", "found.yaml", cwd=tmp_path).returncode == 0
    checked = typed("check", "found.yaml", cwd=tmp_path)
    assert checked.returncode == 0
    assert "no errors" in checked.stdout


def test_without_a_file_it_prints_the_same(tmp_path):
    printed = typed("discover", str(SALTMARSH), cwd=tmp_path).stdout
    typed("discover", str(SALTMARSH), "-o", "found.yaml", cwd=tmp_path)
    assert printed == (tmp_path / "found.yaml").read_text("utf-8")
    assert printed.startswith("# Made by `gaswitness discover` from the bus of GDP-7")
    assert "A beginning, not a design" in printed


def test_it_never_writes_over_a_file(tmp_path):
    (tmp_path / "found.yaml").write_text("mine", "utf-8")
    done = typed("discover", str(SALTMARSH), "-o", "found.yaml", cwd=tmp_path)
    assert done.returncode == 2
    assert "found.yaml is there already: name a new file" in done.stderr
    assert (tmp_path / "found.yaml").read_text("utf-8") == "mine"


def test_a_site_without_a_bus_is_told_what_is_missing(tmp_path):
    text = (SALTMARSH / "site.yaml").read_text("utf-8")
    begin, end = text.index("\nbus:"), text.index("\nmatrix:")
    (tmp_path / "site.yaml").write_text(text[:begin] + text[end:], "utf-8")
    done = typed("discover", "site.yaml", cwd=tmp_path)
    assert done.returncode == 2
    assert "write the section 'bus'" in done.stderr
    assert "Traceback" not in done.stderr
