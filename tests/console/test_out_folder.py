"""Where a run's files go, on a real disk."""

from pathlib import Path

import pytest

from gaswitness.out_folder import OutputError, make_out_folder


def test_runs_are_numbered_from_one(tmp_path: Path) -> None:
    names = [make_out_folder(None, "GDP-7", tmp_path).name for _ in range(3)]
    assert names == [
        "gaswitness-run-GDP-7-001",
        "gaswitness-run-GDP-7-002",
        "gaswitness-run-GDP-7-003",
    ]


def test_a_number_once_used_is_not_taken_again(tmp_path: Path) -> None:
    (tmp_path / "gaswitness-run-GDP-7-009").mkdir()
    assert make_out_folder(None, "GDP-7", tmp_path).name == "gaswitness-run-GDP-7-010"
    assert make_out_folder(None, "GDP-8", tmp_path).name == "gaswitness-run-GDP-8-001"


def test_a_slash_in_a_tag_makes_no_folder(tmp_path: Path) -> None:
    assert make_out_folder(None, "N/GDP", tmp_path) == tmp_path / "gaswitness-run-N-GDP-001"


def test_a_chosen_folder_is_made(tmp_path: Path) -> None:
    chosen = tmp_path / "runs" / "today"
    assert make_out_folder(chosen, "GDP-7", tmp_path) == chosen
    assert chosen.is_dir()


def test_a_folder_with_files_is_refused(tmp_path: Path) -> None:
    (tmp_path / "verdicts.json").write_text("{}")
    with pytest.raises(OutputError, match="overwrites nothing"):
        make_out_folder(tmp_path, "GDP-7", tmp_path)


def test_a_file_in_the_way_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with pytest.raises(OutputError, match="no folder can be made"):
        make_out_folder(tmp_path / "out", "GDP-7", tmp_path)
