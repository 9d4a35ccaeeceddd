"""Records with things called by other tags, wherever a record names them. Decides no renaming."""

import re
from collections.abc import Mapping
from typing import Any, Final

from pydantic import BaseModel

from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.points import Point

_TAG_OF_FACT: Final = re.compile(r"(?<![A-Za-z0-9_/.-])[A-Za-z][A-Za-z0-9_/-]*(?=\.)")
_FREE_TEXT: Final = frozenset(("name", "note", "text"))


def retagged(value: Any, renames: Mapping[str, str]) -> Any:
    """The record, or the records, with every tag in `renames` put in place of the old one."""
    if isinstance(value, tuple):
        return tuple(retagged(one, renames) for one in value)
    if not isinstance(value, BaseModel):
        return renames.get(value, value) if isinstance(value, str) else value
    # What was left out must stay so: some records mean something else by a default written out.
    data = value.model_dump(by_alias=True, exclude_unset=True)
    new = {key: one if key in _FREE_TEXT else _renamed(one, renames) for key, one in data.items()}
    if isinstance(value, Cell):
        new["cause"] = _facts_renamed(value.cause, renames)
    elif isinstance(value, Point):
        new["shows"] = _facts_renamed(value.shows, renames)
        new["bits"] = {bit: _facts_renamed(said, renames) for bit, said in value.bits.items()}
    return type(value).model_validate(new)


def _renamed(data: Any, renames: Mapping[str, str]) -> Any:
    if isinstance(data, Mapping):
        return {
            key: one if key in _FREE_TEXT else _renamed(one, renames) for key, one in data.items()
        }
    if isinstance(data, list | tuple):
        return tuple(_renamed(one, renames) for one in data)
    return renames.get(data, data) if isinstance(data, str) else data


def _facts_renamed(text: str, renames: Mapping[str, str]) -> str:
    return _TAG_OF_FACT.sub(lambda found: renames.get(found[0], found[0]), text)
