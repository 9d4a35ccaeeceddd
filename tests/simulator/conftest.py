"""Sites for the simulator's tests, made from plain data."""

from collections.abc import Callable
from typing import Any

import pytest

from gaswitness_sitefile.site import Site

SiteMaker = Callable[..., Site]


def channel(tag="AT-1", **facts) -> dict[str, Any]:
    """A flammable-gas channel, 0 to 100 %LEL, without lag or noise unless told otherwise."""
    return {
        "tag": tag,
        "gas": "CH4",
        "unit": "%LEL",
        "range": [0, 100],
        "t90_s": 0,
        "levels": {"A1": {"setpoint": 20, "hysteresis": 2}},
        **facts,
    }


def point(name, table, address, kind, shows, **more) -> dict[str, Any]:
    return {
        "name": name, "table": table, "address": address, "type": kind, "shows": shows, **more
    }  # fmt: skip


def cell(cause, effect, **more) -> dict[str, Any]:
    return {"cause": cause, "effect": effect, "response_s": 3, **more}


def made(**parts) -> Site:
    """One channel, scanned every second, reads showing the state itself, unless told otherwise."""
    plain: dict[str, Any] = {
        "gaswitness_site": 1,
        "panel": {"tag": "GDP-1"},
        "timing": {"scan_s": 1, "refresh_s": 0, "warm_up_s": 0},
        "channels": [channel()],
        "points": [point("reading", "holding register", 0, "float32", "AT-1.reading")],
    }
    return Site.model_validate({**plain, **parts})


@pytest.fixture(scope="session")
def make_site() -> SiteMaker:
    return made


@pytest.fixture(scope="session")
def a_channel() -> Callable[..., dict[str, Any]]:
    return channel


@pytest.fixture(scope="session")
def a_point() -> Callable[..., dict[str, Any]]:
    return point


@pytest.fixture(scope="session")
def a_cell() -> Callable[..., dict[str, Any]]:
    return cell
