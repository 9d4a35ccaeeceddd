import jsonschema
import pytest
from ruamel.yaml import YAML

from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.schema import script_schema

CHECKER = jsonschema.Draft202012Validator(script_schema())


def test_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(script_schema())


@pytest.mark.parametrize("path", site_scripts(demo_site_path()), ids=lambda path: path.stem)
def test_ready_made_scripts_fit_the_schema(path):
    CHECKER.validate(YAML(typ="safe", pure=True).load(path.read_text("utf-8")))


@pytest.mark.parametrize(
    "step",
    [
        {"press": "restart"},
        {"hold_s": 0},
        {"gas": {"to": 5}},
        {"power": "sideways"},
        {"fault": []},
        {"for_each": {"channel": "all", "steps": []}},
        {"gass": 1},
    ],
)
def test_schema_refuses_what_the_loader_refuses(step):
    script = {"gaswitness_script": 1, "title": "T", "steps": [step]}
    assert not CHECKER.is_valid(script)
    assert CHECKER.is_valid(script | {"steps": [{"press": "reset"}]})
