"""The JSON Schema of a site file, for editors that complete and check while one types.

What a schema cannot say (tags that exist, addresses in three notations) only loading checks.
"""

from typing import Any, Final

from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.draft import SECTIONS
from gaswitness_sitefile.site import Site

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"

_TABLE: Final[dict[str, Any]] = {
    "title": "Table file",
    "description": "A CSV or XLSX file beside the site file; its first row names the columns.",
    "type": "object",
    "properties": {
        "file": {"type": "string", "minLength": 1, "description": "Path from the site file."},
        "sheet": {"type": "string", "description": "Sheet of a workbook, if it has several."},
    },
    "required": ["file"],
    "additionalProperties": False,
}
_ADDRESS: Final[dict[str, Any]] = {
    "title": "Address",
    "description": "In the notation of map.notation; PDU addresses count from 0.",
    "anyOf": [
        {"type": "integer", "minimum": 0, "maximum": 465_536},
        {"type": "string", "pattern": "^(0[xX][0-9a-fA-F]{1,4}|[0-9]{1,6})$"},
    ],
}


def site_schema() -> dict[str, Any]:
    """The schema, as plain data; JSON Schema draft 2020-12."""
    schema = Site.model_json_schema()
    parts: dict[str, Any] = schema["$defs"]
    parts["TableFile"] = _TABLE
    for name in SECTIONS:
        whole = schema["properties"][name]
        title, default = whole.pop("title", name), whole.pop("default", None)
        asked = {"anyOf": [whole, {"$ref": "#/$defs/TableFile"}], "title": title}
        schema["properties"][name] = asked if default is None else {**asked, "default": default}
    parts["Point"]["properties"]["address"] = _ADDRESS
    parts["Channel"]["properties"]["levels"]["propertyNames"] = {"enum": list(LEVEL_NAMES)}
    return {"$schema": DIALECT, **schema}
