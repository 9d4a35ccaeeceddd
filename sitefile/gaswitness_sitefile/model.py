"""The base of every record in a site file: frozen, and strict about unknown keys."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

TAG_PATTERN = r"^[A-Za-z][A-Za-z0-9_/-]*$"

Tag = Annotated[str, StringConstraints(pattern=TAG_PATTERN, max_length=40)]
"""A tag as on the drawing: a letter, then letters, digits, `-`, `_`, `/`. No dot, no blank."""

Seconds = Annotated[float, Field(ge=0, allow_inf_nan=False)]
PositiveSeconds = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]


class Record(BaseModel):
    """A part of a site file. Nothing in it changes once it is read."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)
