"""Standby batteries: the size that a duty needs, and how long a fitted one stands by. Pure sums.

C = ageing x (T1 I1 + D T2 I2), which for an alarm of half an hour is 1.25 (T1 I1 + D I2 / 2) of BS
5839-1 annex D (formula from memory). That annex is for fire alarms: for gas panels an analogy.
"""

from gaswitness_sitefile.bus import Battery


def needed_ah(battery: Battery, *, rest_a: float, alarm_a: float) -> float:
    """The capacity, in Ah, that stands by for `standby_h` and then carries the alarm.

    `rest_a`, `alarm_a`: taken from the battery, in ampere.
    """
    return battery.ageing_factor * (battery.standby_h * rest_a + _alarm_ah(battery, alarm_a))


def autonomy_h(battery: Battery, capacity_ah: float, *, rest_a: float, alarm_a: float) -> float:
    """How many hours an aged battery of `capacity_ah` stands by and still carries the alarm.

    0 where it does not carry even that; infinite where nothing is taken at rest.
    """
    left_ah = capacity_ah / battery.ageing_factor - _alarm_ah(battery, alarm_a)
    if left_ah <= 0:
        return 0.0
    return left_ah / rest_a if rest_a > 0 else float("inf")


def _alarm_ah(battery: Battery, alarm_a: float) -> float:
    return battery.discharge_factor * (battery.alarm_min / 60.0) * alarm_a
