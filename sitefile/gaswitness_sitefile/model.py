"""The base of every record in a site file: frozen, and strict about unknown keys."""

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

TAG_PATTERN = r"^[A-Za-z][A-Za-z0-9_/-]*$"

Tag = Annotated[str, StringConstraints(pattern=TAG_PATTERN, max_length=40)]
"""A tag as on the drawing: a letter, then letters, digits, `-`, `_`, `/`. No dot, no blank."""


def _no_truth_value(found: Any) -> Any:
    """A yes or no is not a 1 or 0 by accident."""
    if isinstance(found, bool):
        raise ValueError(f"{str(found).lower()} is not a number: write a number")
    return found


# The bounds come first: behind a validator, the JSON Schema would not have them.
Seconds = Annotated[float, Field(ge=0, allow_inf_nan=False), BeforeValidator(_no_truth_value)]
PositiveSeconds = Annotated[
    float, Field(gt=0, allow_inf_nan=False), BeforeValidator(_no_truth_value)
]
Number = Annotated[float, Field(allow_inf_nan=False), BeforeValidator(_no_truth_value)]
Whole = Annotated[int, BeforeValidator(_no_truth_value)]


class Record(BaseModel):
    """A part of a site file. Nothing in it changes once it is read."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)
