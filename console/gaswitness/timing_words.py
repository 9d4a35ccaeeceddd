"""The sentences about polling: what was counted, what it amounts to, what is in the way. Pure."""

from collections.abc import Iterable, Iterator
from math import ceil

from gaswitness_probe.provable import Chance, Provable, Provables, rounded_down
from gaswitness_probe.timing import PollTimes
from gaswitness_probe.wire_time import UNKNOWN_LINE
from gaswitness_scenarios.measure import Measured
from gaswitness_sitefile.link_address import LinkAddress, SerialLine


def milliseconds(seconds_: float) -> str:
    """A time on the wire."""
    return f"{1000 * seconds_:.1f}"


def seconds(seconds_: float) -> str:
    """A wait, to the thousandth."""
    return f"{seconds_:.3f}"


def _many(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def cycle_words(times: PollTimes) -> str:
    """How long a cycle is, and how much of the link it takes."""
    bound = "; polls will be missed" if times.overloaded else ""
    return (
        f"One cycle: {_many(len(times.requests), 'request')}, {times.cycle_s:.3g} s with the gaps "
        f"between them. The pace takes {times.load:.0%} of the link{bound}."
    )


def allowance_words(times: PollTimes, link: LinkAddress | None) -> str:
    """What the milliseconds are made of."""
    answer = f"{milliseconds(times.site.timing.answer_s)} ms for the panel (timing.answer_s)"
    if link is not None and link.rtu_framed:
        line = (link.serial or SerialLine()) if link.on_serial_line else UNKNOWN_LINE
        taken = "" if link.on_serial_line else ", taken for the line behind the converter"
        network = (
            "" if link.on_serial_line else f", {milliseconds(times.wire.round_trip_s)} ms network"
        )
        return (
            f"Counted: characters of {line.bits_per_character} bits at {line.baud}{taken}, a "
            f"silence of {milliseconds(times.wire.silence_s)} ms each way{network}, {answer}."
        )
    return f"Counted: {milliseconds(times.wire.round_trip_s)} ms for the network, {answer}."


def dwell_words(times: PollTimes) -> str:
    """Whether a state of the panel may come and go between two samples."""
    timing = times.site.timing
    blind_s = max((request.blind_s for request in times.requests), default=0.0) + timing.refresh_s
    least = f"the shortest dwell of {timing.shortest_dwell_s:g} s"
    if times.unseen():
        return (
            f"From sample to sample up to {blind_s:.3g} s may pass, {least} is no longer: states "
            "may come and go unseen."
        )
    return f"From sample to sample at most {blind_s:.3g} s pass, less than {least}."


def measured_words(measured: Measured) -> Iterator[str]:
    """What the measurement means for the site file."""
    yield f"Over {_many(measured.cycles, 'cycle')} at the site file's pace."
    if measured.answer_s is not None:
        stated_s = ceil(1000 * measured.answer_s) / 1000
        yield (
            f"The panel took {milliseconds(measured.answer_s)} ms to answer where "
            f"{milliseconds(measured.allowed_s)} ms were allowed for. What follows is worked out "
            f"with that; to keep it, write timing: {{answer_s: {stated_s:g}}}."
        )
    for one in measured.requests:
        if one.failed:
            block = one.computed.block
            yield (
                f"{block.table.value} {block.address}: {one.failed} of {measured.cycles} failed, "
                f"the last with: {one.problem}"
            )


def sure_at_words(one: Provable) -> str:
    """The pace that would make sure, for a narrow column."""
    if one.chance is Chance.SURE:
        return ""
    if one.why:
        return "see below"
    if one.pace_s is None:
        return "no pace here"
    return f"{rounded_down(one.pace_s):g} s{' (fast)' if one.alone else ''}"


def other_words(found: Provables) -> list[str]:
    """What stands in the way besides the pace, once each."""
    ones = [one for one in (*found.cells, *found.levels) if one.chance is not Chance.SURE]
    said = {one.why: one.id for one in reversed(ones) if one.why}
    lines = [f"{id_}: {why}." for why, id_ in reversed(said.items())]
    if any(one.alone for one in ones):
        lines.append(
            "(fast): only if these points alone are read so often, as with "
            "pace: {fast: {period_s: ..., what: [...]}}."
        )
    if any(one.pace_s is None and not one.why for one in ones):
        lines.append("no pace here: this link is too slow for it; a faster one, or a wider window.")
    return lines


def conclusion(found: Provables) -> str:
    """The last line."""
    cells = f"cells: {_counted(found.cells)}"
    levels = f"; delayed levels: {_counted(found.levels)}" if found.levels else ""
    if all_proven(found):
        return f"ALL CELLS CAN BE PROVEN AT THIS PACE ({cells}{levels})"
    return f"NOT ALL CAN BE PROVEN AT THIS PACE ({cells}{levels})"


def _counted(ones: Iterable[Provable]) -> str:
    chances = [one.chance for one in ones]
    counts = ((chances.count(chance), words) for chance, words in _CHANCES.items())
    return ", ".join(f"{count} {words}" for count, words in counts if count) or "none"


def all_proven(found: Provables) -> bool:
    """Whether nothing has to come out inconclusive on account of the link and its pace."""
    return not (found.open or found.times.unseen() or found.times.overloaded)


_CHANCES = {
    Chance.SURE: "sure",
    Chance.BY_LUCK: "if the polls fall well",
    Chance.NONE: "never",
}
