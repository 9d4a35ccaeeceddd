"""README says the truth: its examples load, its cautions are the program's, its commands exist."""

import re
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from gaswitness import cautions
from gaswitness.cli import group
from gaswitness.exit_codes import ExitCode
from gaswitness_scenarios.equipment import load_equipment
from gaswitness_scenarios.load import load_script
from gaswitness_sitefile.load import load_site

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
POINTS = """name,table,address,type,shows
AT-201,input register,0,float32,AT-201.reading
V1 closed,discrete input,0,bit,V1.active
"""


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


def example(begins: str) -> str:
    """The YAML example that begins with this key."""
    (found,) = [block for block in blocks("yaml") if block.startswith(f"{begins}:")]
    return found


@pytest.fixture
def site_file(tmp_path: Path) -> Path:
    (tmp_path / "points.csv").write_text(POINTS)
    path = tmp_path / "site.yaml"
    path.write_text(example("gaswitness_site"), "utf-8")
    return path


def test_the_site_file_of_the_readme_loads(site_file: Path) -> None:
    site = load_site(site_file).site
    assert [cell.id for cell in site.matrix] == [
        "AT-201.A1 > B1",
        "AT-201.A2 > V1",
        "DI-1.active > V1",
    ]


def test_the_script_of_the_readme_loads(site_file: Path) -> None:
    path = site_file.parent / "script.yaml"
    path.write_text(example("gaswitness_script"), "utf-8")
    assert len(load_script(path, load_site(site_file).site).steps) == 11


def test_the_equipment_file_of_the_readme_loads(tmp_path: Path) -> None:
    path = tmp_path / "equipment.yaml"
    path.write_text(example("gaswitness_equipment"), "utf-8")
    equipment = load_equipment(path, date(2026, 11, 26))
    assert [who.signs for who in equipment.people.values()] == ["AB", "OM"]


def test_every_caution_stands_in_the_readme() -> None:
    words = " ".join(README.split())
    assert [text for text in cautions.CAUTIONS if text not in words] == []


def test_the_exit_codes_stand_in_the_readme() -> None:
    listed = [int(code) for code in re.findall(r"^\| (\d+) \|", README, re.MULTILINE)]
    assert listed == [0, 1, 2, 3, 4, 130]
    assert set(listed) | {70, 141} == {int(code) for code in ExitCode}


def test_every_command_of_the_readme_takes_its_options() -> None:
    lines = [line.split("#")[0].split() for text in blocks("sh") for line in text.splitlines()]
    commands = [words for words in lines if words and words[0] == "gaswitness"]
    assert len(commands) >= 9
    for _, name, *arguments in commands:
        shown = CliRunner().invoke(group, [name, "--help"]).output
        options = [word for word in arguments if word.startswith("--")]
        assert [option for option in options if f"{option} " not in shown] == []


def test_both_set_up_commands_have_their_markers() -> None:
    for name in ("set up and rehearse", "set up and test"):
        found = re.search(rf"<!-- {name} -->\n```sh\n(.+)\n```\n<!-- end of {name} -->", README)
        assert found is not None
        assert found[1].startswith("python3 -m venv .venv && .venv/bin/pip install -q ")
