"""Names of what a panel says of its own life and of its detector bus. Names only."""

from typing import Final

BUS_FLAGS: Final = ("comms_fault", "missing", "wrong_type")
"""Of a channel: its device does not answer; the last discovery did not find it; found another."""

LIFE_FLAGS: Final = (
    "discovery_open",
    "discovering",
    "on_battery",
    "battery_low",
    "restarted",
    "bus_fault",
    "setup_differs",
)
"""Of the panel. `restarted`: by its watchdog, until reset. `setup_differs`: from what was found."""

LIFE_NUMBERS: Final = ("devices_found", "differences", "battery")
"""Of the panel: devices and differences of the last discovery; the battery's charge in %."""

PANEL_STATES: Final = ("normal", "warm_up", "discovery_open", "discovering")
"""What `panel.state` may be, for an enumeration: the stage of its life. Before the discovery is
open the map is not served."""
