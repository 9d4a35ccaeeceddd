"""What a field of the site file that was left out comes to. Nothing is computed here: the records
themselves say it.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final

from pydantic import BaseModel

from gaswitness_sitefile.channel import AlarmLevel, Channel
from gaswitness_sitefile.link import Timing
from gaswitness_sitefile.matrix import Cell

_SAYS: Final[Mapping[tuple[type[BaseModel], str], Callable[[Any], float]]] = {
    (Channel, "clean"): lambda one: one.clean_reading,
    (Channel, "under_range"): lambda one: one.shown_limits[0],
    (Channel, "over_range"): lambda one: one.shown_limits[1],
    (Channel, "tolerance"): lambda one: one.reading_tolerance,
    (Cell, "early_s"): lambda one: one.early_allowance_s,
    (Timing, "level_response_s"): lambda one: one.level_allowance_s,
}


def in_force(field: str, record: BaseModel, owner: BaseModel | None, key: str) -> float | None:
    """What the record's field comes to where it is left out; None where that is nothing.

    `owner` holds the record under `key`, as a channel holds its levels.
    """
    if isinstance(record, AlarmLevel) and isinstance(owner, Channel):
        return owner.level_tolerance(key) if field == "setpoint_tolerance" else None
    says = _SAYS.get((type(record), field))
    return None if says is None else says(record)
