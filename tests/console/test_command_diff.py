"""`gaswitness diff` as typed: words, JSON, exit codes."""

import json

from click.testing import CliRunner

from gaswitness.cli import group, run


def files(tmp_path, *changes):
    """Two copies of the demo, the second with texts of `site.yaml` or its tables replaced."""
    assert run(["demo", str(tmp_path / "a")]) == 0
    assert run(["demo", str(tmp_path / "b")]) == 0
    for name, old, new in changes:
        path = tmp_path / "b" / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")
    return str(tmp_path / "a"), str(tmp_path / "b")


def test_no_difference_is_exit_0_and_said(tmp_path, capsys):
    assert run(["diff", *files(tmp_path)]) == 0
    assert capsys.readouterr().out.endswith("\nno differences\n")


def test_differences_are_exit_1_under_their_headings(tmp_path, capsys):
    a, b = files(
        tmp_path,
        ("site.yaml", "A1: {setpoint: 25,", "A1: {setpoint: 20,"),
        ("matrix.csv", "AT-201.A2,V1,0,0,no,4,,\n", ""),
        ("points.csv", "AT-301 reading,input register,20,", "AT-301 reading,input register,23,"),
    )
    code = run(["diff", a, b])
    out = capsys.readouterr().out
    assert code == 1
    assert "channels\n  setpoint A1 of AT-101: 25 -> 20 ppm\n" in out
    assert "matrix\n  cell AT-201.A2 > V1 is missing in B\n" in out
    assert "  point AT-301 reading: address 20 -> 23 (300021 -> 300024)\n" in out
    assert out.endswith("\n5 differences\n")  # three channels share the ammonia levels


def test_json_has_the_same_differences_with_their_values(tmp_path):
    a, b = files(tmp_path, ("site.yaml", "scan_s: 0.5", "scan_s: 1.0"))
    done = CliRunner().invoke(group, ["diff", "--json", a, b], standalone_mode=False)
    data = json.loads(done.output)
    assert data["format"] == "gaswitness differences 1"
    assert data["a"]["sha256"] != data["b"]["sha256"]
    assert data["differences"] == [
        {
            "group": "timing",
            "kind": "changed",
            "path": ["timing", "scan_s"],
            "a": 0.5,
            "b": 1.0,
            "text": "timing: scan 0.5 -> 1 s",
        }
    ]


def test_errors_of_both_files_are_listed_and_exit_2(tmp_path, capsys):
    _, b = files(tmp_path, ("site.yaml", "scan_s: 0.5", "scan_s: never"))
    code = run(["diff", str(tmp_path / "nowhere.yaml"), b])
    err = capsys.readouterr().err
    assert code == 2
    assert "nowhere.yaml" in err
    assert f"{b}/site.yaml:" in err.replace("\\", "/")
