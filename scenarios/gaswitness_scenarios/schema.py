"""The JSON Schemas of script files and equipment files, made from their records."""

from typing import Any

from gaswitness_scenarios.equipment import Equipment
from gaswitness_scenarios.script_file import ScriptRecord


def script_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of script files, for editors."""
    return _titled(ScriptRecord.model_json_schema(by_alias=True), "Gaswitness script")


def equipment_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of equipment files, for editors."""
    return _titled(Equipment.model_json_schema(by_alias=True), "Gaswitness equipment")


def _titled(schema: dict[str, Any], title: str) -> dict[str, Any]:
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": title,
    }
