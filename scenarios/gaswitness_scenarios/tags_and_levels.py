"""How the records of a script write tags, lists of tags, and levels of gas."""

from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema


def _listed(written: object) -> object:
    return [written] if isinstance(written, str) else written


def not_empty(found: tuple[Any, ...]) -> tuple[Any, ...]:
    """The list, if there is anything in it; ValueError if not."""
    # `min_length` would complain of too few entries, too, wherever one entry is wrong.
    if not found:
        raise ValueError("the list is empty: write at least 1 entry")
    return found


def _level(written: object) -> object:
    if isinstance(written, bool) or not isinstance(written, int | float | str):
        raise ValueError("this is not a level of gas: write a number, clean, A1*1.05 or past A1")
    return written


Name = Annotated[str, Field(min_length=1)]
Names = Annotated[
    tuple[Name, ...],
    BeforeValidator(_listed),
    AfterValidator(not_empty),
    WithJsonSchema(
        {
            "oneOf": [
                {"type": "string", "minLength": 1},
                {"type": "array", "items": {"type": "string", "minLength": 1}, "minItems": 1},
            ]
        }
    ),
]
MaybeNames = Annotated[tuple[Name, ...], BeforeValidator(_listed)]
"""None, one or several names."""
Level = Annotated[float | str, BeforeValidator(_level)]
