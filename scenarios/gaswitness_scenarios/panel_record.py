"""Records of what people do to a panel beside its keys: outputs forced, channels calibrated."""

from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    GetJsonSchemaHandler,
    WithJsonSchema,
    model_validator,
)

from gaswitness_scenarios.short_forms import with_short_forms
from gaswitness_scenarios.tags_and_levels import Names
from gaswitness_sitefile.model import PositiveSeconds, Record


def _held(written: object) -> object:
    words: dict[object, str] = {True: "on", "yes": "on", False: "off", "no": "off"}
    key = written.lower() if isinstance(written, str) else written
    return words.get(key, key) if isinstance(key, str | bool) else written


class OutputTestRecord(Record):
    """Outputs forced at the panel: held `on` or off, or, with `on: end`, left to their causes.

    `output`: a tag, a list of tags, or `all`.
    """

    output: Names
    on: Annotated[
        Literal["on", "off", "end"],
        BeforeValidator(_held),
        WithJsonSchema({"enum": ["on", "off", "yes", "no", True, False, "end"]}),
    ]

    @property
    def forced(self) -> bool | None:
        """What the outputs are held at; None where they are let go."""
        return {"on": True, "off": False}.get(self.on)


class CalibrateRecord(Record):
    """Sensors calibrated: at once, or, with `for_s`, with their channels in calibration so long.

    Also written as the tags alone.
    """

    channel: Names
    for_s: PositiveSeconds | None = Field(default=None)

    @model_validator(mode="before")
    @classmethod
    def _tags_alone(cls, written: Any) -> Any:
        return {"channel": written} if isinstance(written, str | list | tuple) else written

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core_schema: Any, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return with_short_forms(core_schema, handler, like="channel")
