"""The schema for editors: a valid schema itself, and of one mind with loading on plain cases."""

import jsonschema
import pytest

from gaswitness_sitefile.schema import site_schema
from gaswitness_sitefile.yaml_text import parse_yaml


def as_json(data):
    """As editors see YAML: all keys are text."""
    if isinstance(data, dict):
        return {str(key): as_json(value) for key, value in data.items()}
    return [as_json(value) for value in data] if isinstance(data, list) else data


@pytest.fixture(scope="module")
def validator():
    return jsonschema.Draft202012Validator(site_schema())


def test_the_schema_is_one():
    """Source: the JSON Schema meta-schema, draft 2020-12, through the `jsonschema` package."""
    jsonschema.Draft202012Validator.check_schema(site_schema())
    assert site_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("name", ["cellar.yaml", "cellar-tables.yaml"])
def test_good_site_files_are_valid(validator, good, name):
    data = parse_yaml((good / name).read_text(encoding="utf-8"), name).data

    assert list(validator.iter_errors(as_json(data))) == []


@pytest.mark.parametrize(
    "change",
    [("kind: fan", "kind: van"), ("tag: AT-3", "tag: AT 3"), ("imputs", "imputs"),
     ("over_range: 5.5", "over_range: lots"), ("A2: {setpoint: 18,", "HIGH: {setpoint: 18,"),
     ("address: 30007", "address: first"), ("gaswitness_site: 1", "gaswitness_site: 2"),
     ("    detector: catalytic", "    detektor: catalytic"),
     ("inputs:\n", "inputs: {fil: a}\nrest:\n")],
)  # fmt: skip
def test_what_loading_refuses_the_schema_refuses(validator, changed, change):
    text = changed(("inputs:", "imputs:")) if change[0] == "imputs" else changed(change)

    assert list(validator.iter_errors(as_json(parse_yaml(text, "f").data)))


def test_tables_may_be_files_of_their_own(validator, good):
    text = (good / "cellar-tables.yaml").read_text(encoding="utf-8")
    text = text.replace("points.csv}", "cellar.xlsx, sheet: Points}")

    assert validator.is_valid(as_json(parse_yaml(text, "f").data))
