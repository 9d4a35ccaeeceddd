"""How a power budget is worded: cases, drop-outs, spur, battery, conclusion. Pure functions."""

import math
from collections.abc import Iterator
from typing import Final

from gaswitness_simulator.bus_power import DropOut
from gaswitness_simulator.power_budget import SPUR_FULL, Case, PowerBudget
from gaswitness_sitefile.bus import Battery

NOWHERE: Final = "no working point"


def case_words(case: Case) -> str:
    """Such as `in full alarm at the battery's end`."""
    when = "in full alarm" if case.full_alarm else "at rest"
    return f"{when} {'at the end of the battery' if case.on_battery else 'on mains'}"


def drop_out_words(case: Case) -> Iterator[str]:
    """What drops out, one line each, in the order in which it does."""
    for number, one in enumerate(case.settled.drop_outs, start=1):
        took = f", and with it {', '.join(one.took)}" if one.took else ""
        yield f"{number}. {one.name}: {_fell_at(one)}{took}"


def _fell_at(one: DropOut) -> str:
    works = f"works from {one.least_v:g} V"
    if one.volts is None:
        return f"the voltage collapses ({NOWHERE}); {works}"
    return f"has {one.volts:.2f} V, {works}"


def worst_words(budget: PowerBudget) -> Iterator[str]:
    """The worst device: the first to go in each collapse, or else the one with least margin."""
    for case in budget.collapsing:
        yield f"{case.settled.drop_outs[0].name}, {case_words(case)}: the voltage collapses"
    worst = budget.worst
    if worst is not None and not budget.collapsing:
        side = "above" if worst.margin_v >= 0 else "BELOW"
        yield (
            f"{worst.consumer.name}, {case_words(worst.case)}: {worst.volts:.2f} V, "
            f"{abs(worst.margin_v):.2f} V {side} the {worst.consumer.least_v:g} V from which it "
            "works"
        )


def supply_words(budget: PowerBudget) -> Iterator[str]:
    """What the bus output and the spur carry, against what they may."""
    limit_a = budget.bus.limit_a
    for case in budget.cases:
        bus_a = case.settled.as_wired_a
        taken = NOWHERE if bus_a is None else f"{bus_a:.3f} A"
        over = f", MORE THAN its limit of {limit_a:g} A" if case in budget.over_limit else ""
        yield f"Bus {case_words(case)} ({case.supply_v:g} V): {taken}{over}"
    if limit_a is None:
        yield "The most that the bus output gives (bus.limit_a) is not stated: not judged"
    spur = budget.bus.spur
    if budget.spur_a is None:
        yield f"Spur: cannot be worked out ({NOWHERE})"
        return
    verdict = "MORE THAN" if budget.spur_too_small else "of"
    yield (
        f"Spur: {budget.spur_a:.2f} A {verdict} the {spur.fuse_a:g} A fuse at {spur.volts:g} V, "
        f"steady, without inrush (efficiency {spur.efficiency:g}, power factor "
        f"{spur.power_factor:g})"
    )


def battery_words(budget: PowerBudget) -> Iterator[str]:
    """The sum of the battery's size with its numbers, and how long the one fitted stands by."""
    found = budget.battery
    if found is None:
        yield "The site file states no battery (bus.battery): not judged"
        return
    battery = found.battery
    if found.needed_ah is None or found.rest_a is None or found.alarm_a is None:
        yield f"Its size cannot be worked out ({NOWHERE})"
        return
    yield (
        f"Needed: {found.needed_ah:.2f} Ah = {battery.ageing_factor:g} x "
        f"({battery.standby_h:g} h x {found.rest_a:.3f} A + {battery.discharge_factor:g} x "
        f"{battery.alarm_min / 60:g} h x {found.alarm_a:.3f} A)"
    )
    if battery.capacity_ah is None or found.autonomy_h is None:
        yield "What is fitted (capacity_ah) is not stated: not judged"
    else:
        yield f"Fitted: {battery.capacity_ah:g} Ah, {_stands_by(found.autonomy_h, battery)}"
    yield (
        "By the formula of BS 5839-1 annex D, from memory. It is for fire alarms: no standard is "
        "known that fixes it for gas panels"
    )


def _stands_by(autonomy_h: float, battery: Battery) -> str:
    if autonomy_h <= 0:
        return f"which does NOT carry even {battery.alarm_min:g} min of alarm"
    hours = "for ever" if math.isinf(autonomy_h) else f"for {autonomy_h:.1f} h"
    short = "" if autonomy_h >= battery.standby_h else f", NOT {battery.standby_h:g} h,"
    return f"which stands by {hours}{short} and then carries {battery.alarm_min:g} min of alarm"


def own_warnings(budget: PowerBudget) -> Iterator[str]:
    """What is enough, but not by much."""
    worst, wanted_v = budget.worst, budget.bus.margin_v
    if worst is not None and 0 <= worst.margin_v < wanted_v:
        yield (
            f"{worst.consumer.name} has {worst.margin_v:.2f} V to spare {case_words(worst.case)}, "
            f"less than the {wanted_v:g} V wanted (bus.margin_v)"
        )
    fuse_a = budget.bus.spur.fuse_a
    if budget.spur_a is not None and SPUR_FULL * fuse_a < budget.spur_a <= fuse_a:
        yield (
            f"the spur's fuse carries {budget.spur_a / fuse_a:.0%} of its rating; more than "
            f"{SPUR_FULL:.0%} leaves nothing for inrush (common practice, no source)"
        )


def conclusion(budget: PowerBudget) -> str:
    """One line: what everything comes to."""
    if budget.too_small:
        return f"TOO SMALL: {'; '.join(_shortfalls(budget))}"
    if budget.unstated:
        names = ", ".join(budget.unstated)
        return f"NOT JUDGED: the site file does not say what {names} draws (bus.outputs)"
    worst = budget.worst
    spare = "" if worst is None else f"; least margin {worst.margin_v:.2f} V"
    where = "" if worst is None else f" at {worst.consumer.name}"
    return f"ENOUGH, by what the site file says: nothing drops out{spare}{where}"


def _shortfalls(budget: PowerBudget) -> Iterator[str]:
    names = dict.fromkeys(
        name
        for case in budget.cases
        for one in case.settled.drop_outs
        for name in (one.name, *one.took)
    )
    if names:
        yield f"{', '.join(names)} {'drops' if len(names) == 1 else 'drop'} out"
    if budget.over_limit:
        yield "the bus takes more than its output gives"
    if budget.spur_too_small:
        yield "the spur's fuse"
    if budget.battery is not None and budget.battery.too_small:
        yield "the battery"
