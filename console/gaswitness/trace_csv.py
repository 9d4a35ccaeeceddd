"""What a virtual panel showed as a table of comma-separated values, one row a sample, every value
as it was."""

import csv
import io
import math
from itertools import groupby
from typing import Final

from gaswitness_scenarios.panel_trace import PanelTrace

FIRST_COLUMN: Final = "time_s"
_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def trace_csv(trace: PanelTrace) -> str:
    """The table: time, readings and gas in each channel's unit, averages of exposure, facts as 0
    and 1, what happened.

    Where the panel showed no number the reading is empty. Where something was done at once there
    are two rows with one time: before it, and after.
    """
    units = [trace.site.channel_of[tag].unit for tag in trace.channels]
    head = [FIRST_COLUMN]
    for tag, unit in zip(trace.channels, units, strict=True):
        head += [f"{tag}.reading [{unit}]", f"{tag}.gas [{unit}]"]
    for name in trace.averages:
        head.append(f"{name}.average [{trace.site.channel_of[name.partition('.')[0]].unit}]")
    head += [f"{tag}.supply [V]" for tag in trace.devices]
    told = {
        at_s: "; ".join(one.text for one in happened)
        for at_s, happened in groupby(trace.happenings, key=lambda one: one.at_s)
    }
    written = io.StringIO()
    table = csv.writer(written, lineterminator="\n")
    table.writerow([*head, *trace.facts, "happened"])
    last = {sample.at_s: at for at, sample in enumerate(trace.samples)}
    for at, sample in enumerate(trace.samples):
        values: list[str] = [repr(sample.at_s)]
        for reading, gas in zip(sample.readings, sample.gases, strict=True):
            values += ["" if math.isnan(reading) else repr(reading), repr(gas)]
        values += [repr(average) for average in sample.averages]
        values += ["" if math.isnan(volts) else repr(volts) for volts in sample.volts]
        values += ["1" if on else "0" for on in sample.facts]
        said = told.get(sample.at_s, "") if last[sample.at_s] == at else ""
        table.writerow([*values, f"'{said}" if said.startswith(_FORMULA) else said])
    return written.getvalue()
