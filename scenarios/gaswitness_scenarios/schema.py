"""The JSON Schema of script files, made from their records."""

from typing import Any

from gaswitness_scenarios.script_file import ScriptRecord


def script_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of script files, for editors."""
    schema = ScriptRecord.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Gaswitness script",
    }
