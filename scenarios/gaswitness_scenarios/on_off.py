"""A yes or no as people write it in scripts."""

from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema


def _on_off(written: object) -> object:
    """YAML 1.2 reads on and off as text."""
    words = {"on": True, "yes": True, "off": False, "no": False}
    return words.get(written.lower(), written) if isinstance(written, str) else written


OnOff = Annotated[
    bool,
    BeforeValidator(_on_off),
    WithJsonSchema({"enum": ["on", "off", "yes", "no", True, False]}),
]
