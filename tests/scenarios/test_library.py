import tomllib
from pathlib import Path

import pytest

from gaswitness_scenarios.library import copy_demo, demo_site_path, site_scripts
from gaswitness_sitefile.errors import GaswitnessError
from gaswitness_sitefile.load import load_site

ROOT = Path(__file__).parents[2]


def test_demo_is_found_in_a_checkout():
    assert demo_site_path() == ROOT / "scenarios" / "sites" / "fernhollow" / "site.yaml"


def test_wheel_puts_the_sites_where_the_library_looks():
    build = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    included = build["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert included["scenarios/sites"] == "gaswitness_scenarios/sites"


def test_scripts_beside_a_site_come_by_name(tmp_path):
    (tmp_path / "scripts").mkdir()
    for name in ("20-b.yaml", "10-a.yml", "notes.txt", "leak.csv"):
        (tmp_path / "scripts" / name).touch()
    found = site_scripts(tmp_path / "site.yaml")
    assert [one.name for one in found] == ["10-a.yml", "20-b.yaml"]


def test_site_without_scripts_has_none(tmp_path):
    assert site_scripts(tmp_path / "site.yaml") == ()


def test_copy_of_the_demo_loads_and_has_the_same_hash(tmp_path):
    written = copy_demo(tmp_path / "mine")
    copy = load_site(tmp_path / "mine" / "site.yaml")
    assert copy.sha256 == load_site(demo_site_path()).sha256
    assert site_scripts(copy.path) == tuple(one for one in written if one.parent.name == "scripts")
    assert len(written) == 3 + len(site_scripts(demo_site_path()))


def test_copy_overwrites_nothing_and_names_what_is_there(tmp_path):
    (tmp_path / "points.csv").write_text("mine", "utf-8")
    with pytest.raises(GaswitnessError, match=r"points\.csv would be overwritten"):
        copy_demo(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["points.csv"]
    assert (tmp_path / "points.csv").read_text("utf-8") == "mine"


def test_copy_onto_a_file_is_refused(tmp_path):
    (tmp_path / "here").touch()
    with pytest.raises(GaswitnessError, match="is a file, not a folder"):
        copy_demo(tmp_path / "here")
