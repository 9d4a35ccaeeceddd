"""Records of scripts that may be written shorter than as keys and values: their JSON Schema."""

from typing import Any

from pydantic import GetJsonSchemaHandler


def with_short_forms(
    core_schema: Any, handler: GetJsonSchemaHandler, *forms: dict[str, Any], like: str = ""
) -> dict[str, Any]:
    """The schema of a record that is also written in one of the shorter `forms`, or in those of
    its key `like`."""
    found = handler(core_schema)
    whole = handler.resolve_ref_schema(found)
    keyed = dict(whole)
    whole.clear()
    whole["title"] = keyed.pop("title")
    whole["description"] = keyed.pop("description")
    of_key = keyed["properties"][like]["oneOf"] if like else ()
    whole["anyOf"] = [*forms, *of_key, keyed]
    return found
