"""Design rules of time: what this pace and this panel's timing can never prove.

Nothing is known here of links and of how reads are put together, so each bound is the kindest that
any plan on any link could reach: `gaswitness timing` may find more, never less.
"""

from math import ceil
from typing import Final

from gaswitness_sitefile.fast_points import fast_points, is_meant
from gaswitness_sitefile.points import Access, Table
from gaswitness_sitefile.rules.rule import Findings, Rule
from gaswitness_sitefile.site import Site

RESERVED_UNITS: Final = range(248, 255)


def _doubt_s(site: Site) -> float:
    """Least width of doubt about a time between two seen changes: two polls and a refresh.

    With the shortest period of all, since a plan may read any point along with a fast one.
    """
    return 2 * site.pace.shortest_period_s + site.timing.refresh_s


def _response_unprovable(site: Site) -> Findings:
    doubt = _doubt_s(site)
    for index, cell in enumerate(site.matrix):
        if doubt > cell.response_s:
            what = (
                f"{cell.id}: a response within {cell.response_s:g} s cannot be proven, since two "
                f"polls of {site.pace.shortest_period_s:g} s and a refresh of "
                f"{site.timing.refresh_s:g} s leave {doubt:g} s of doubt: poll every "
                f"{_poll_for(site, cell.response_s)} or allow more"
            )
            yield ("matrix", index, "response_s"), what


def _poll_for(site: Site, window_s: float) -> str:
    best = (window_s - site.timing.refresh_s) / 2
    return f"{best:.3g} s" if best > 0 else "0 s (no pace would do: refresh faster)"


def _delay_unprovable(site: Site) -> Findings:
    doubt = _doubt_s(site)
    for index, cell in enumerate(site.matrix):
        early_s = cell.early_allowance_s
        if early_s < min(doubt, cell.on_delay_s):
            what = (
                f"{cell.id}: that the effect comes no more than {early_s:g} s "
                f"before its delay of {cell.on_delay_s:g} s is over cannot be proven with "
                f"{doubt:g} s of doubt"
            )
            yield ("matrix", index, "on_delay_s"), what


def _dwell_too_short(site: Site) -> Findings:
    dwell, poll = site.timing.shortest_dwell_s, _longest_period_s(site)
    if dwell <= poll:
        yield (
            ("timing", "shortest_dwell_s"),
            (f"the shortest dwell of {dwell:g} s is not longer than the poll period of {poll:g} s"),
        )


def _longest_period_s(site: Site) -> float:
    """The longest period at which some read is sure to be made."""
    fast = fast_points(site)
    read = [point for point in site.points if point.access is not Access.WRITE]
    with_fast = {point.table for point in read if point.name in fast}
    all_with_fast = all(point.table in with_fast for point in read)
    return site.pace.shortest_period_s if all_with_fast else site.pace.poll_period_s


def _scan_too_slow(site: Site) -> Findings:
    panel_s = site.timing.scan_s + site.timing.refresh_s
    for index, cell in enumerate(site.matrix):
        if panel_s > cell.response_s:
            what = (
                f"{cell.id}: the panel itself may take {panel_s:g} s (scan and refresh), more "
                f"than the {cell.response_s:g} s allowed"
            )
            yield ("matrix", index, "response_s"), what


def _reserved_unit(site: Site) -> Findings:
    for index, link in enumerate(site.links):
        unit = link.where.unit
        if unit in RESERVED_UNITS:
            yield ("links", index), f"the link {link.name} uses unit id {unit}, which is reserved"


def _cycle_too_long(site: Site) -> Findings:
    requests = sum(_least_requests(site, table) for table in Table)
    least_s = requests * site.pace.request_gap_s
    if least_s > site.pace.poll_period_s:
        what = (
            f"one cycle takes {requests} requests or more, {least_s:g} s with gaps of "
            f"{site.pace.request_gap_s:g} s, longer than the poll period of "
            f"{site.pace.poll_period_s:g} s"
        )
        yield ("pace",), what


def _least_requests(site: Site, table: Table) -> int:
    taken: set[int] = set()
    for point in site.points:
        if point.table is table and point.access is not Access.WRITE:
            taken.update(range(point.address, point.end))
    pace = site.pace
    most = pace.largest_read_bits if table.of_bits else pace.largest_read_registers
    return ceil(len(taken) / most)


def _heartbeat_too_fast(site: Site) -> Findings:
    beat = site.timing.heartbeat_s
    if beat is not None and beat <= site.pace.poll_period_s + site.timing.refresh_s:
        what = (
            f"the heartbeat changes every {beat:g} s, no slower than a poll of "
            f"{site.pace.poll_period_s:g} s and a refresh"
        )
        yield ("timing", "heartbeat_s"), what


def _pulse_too_short(site: Site) -> Findings:
    for index, output in enumerate(site.outputs):
        timed_s = output.timed_s
        if timed_s is None:
            continue
        named = "pulse_s" if output.pulse_s is not None else "minimum_on_s"
        if timed_s < site.timing.shortest_dwell_s:
            what = (
                f"{output.tag}: {named} {timed_s:g} s is shorter than the shortest dwell, "
                f"{site.timing.shortest_dwell_s:g} s"
            )
            yield ("outputs", index, named), what
        elif _doubt_s(site) > 0.2 * timed_s + site.timing.scan_s:
            what = (
                f"{output.tag}: that it acts for {timed_s:g} s, a tenth more or less, cannot be "
                f"proven with {_doubt_s(site):g} s of doubt"
            )
            yield ("outputs", index, named), what


def _fast_means_nothing(site: Site) -> Findings:
    if site.pace.fast is None:
        return
    for index, word in enumerate(site.pace.fast.what):
        if not any(is_meant(site, point, word) for point in site.points):
            what = f"{word!r} is to be read fast, but no point that can be read shows such a thing"
            yield ("pace", "fast", "what", index), what


PACE_RULES: Final = (
    Rule("GW501", _response_unprovable, "its verdict will be inconclusive, however good the panel"),
    Rule("GW502", _delay_unprovable, "a delay that is too short would not be found"),
    Rule(
        "GW503",
        _dwell_too_short,
        "two equal samples do not show that nothing happened between: nothing can be proven",
    ),
    Rule("GW504", _scan_too_slow, "even a good panel cannot keep to it"),
    Rule(
        "GW505",
        _reserved_unit,
        "gateways do not pass reserved ids on; a panel reached directly answers to 255, 0 or 1",
        "Modbus over Serial Line V1.02 clause 2.2; Messaging on TCP/IP V1.0b clause 4.4.1.2 "
        "(clause numbers from memory)",
    ),
    Rule("GW506", _cycle_too_long, "polls will be missed, and doubt grows with every one"),
    Rule(
        "GW507",
        _heartbeat_too_fast,
        "beats fall between polls, and a live panel may look dead",
    ),
    Rule("GW508", _fast_means_nothing, "it is polled no faster for being named there"),
    Rule(
        "GW509",
        _pulse_too_short,
        "how long the output acts cannot be told at this pace, or it may pass unseen",
    ),
)
