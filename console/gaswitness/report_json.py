"""`report.json`: the report for machines. Its form is in `report.schema.json`.

Equal evidence gives equal bytes: keys sorted, times rounded to microseconds.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from importlib.resources import files
from typing import Any, Final

from gaswitness.report_blocks import Span, plain_text
from gaswitness.report_data import Report

FORMAT: Final = 1
LEFT_OUT: Final = frozenset({"content"})
"""Fields that are in the record and too large for here: attached files."""


def report_json(report: Report) -> str:
    """The whole file as text, ending in a newline."""
    body = {"gaswitness_report": FORMAT, **_plain(report)}
    text = json.dumps(body, sort_keys=True, indent=1, ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "backslashreplace").decode("utf-8") + "\n"


def report_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of the file."""
    text = files("gaswitness").joinpath("report.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {
            one.name: _plain(getattr(value, one.name))
            for one in fields(value)
            if one.name not in LEFT_OUT
        }
    if isinstance(value, str):
        return str(value)
    if isinstance(value, bool) or value is None or isinstance(value, int):
        return value
    if isinstance(value, float):
        return round(value, 6) + 0.0 if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, Sequence):
        if value and all(isinstance(one, Span) for one in value):
            return plain_text(tuple(value))
        return [_plain(inner) for inner in value]
    raise TypeError(f"{type(value).__name__} has no place in report.json")
