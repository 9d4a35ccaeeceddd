"""What a link can prove at a pace, told in advance: for each cell and each delayed level the doubt
that polling leaves about its response, beside the window that it has. Pure sums; what was really
seen is the judge's.

A change seen between two samples fell between the asking of the one, less a register refresh, and
the answer of the other. Cause and effect each leave a doubt of that width, and the interval that is
found for the response is as wide as both together. The decision rule (JCGM 106, ISO 14253-1: the
whole interval inside) needs that interval to fit into the window.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from math import floor, inf, log10

from gaswitness_probe.expect import CellView, Expectations, LevelView
from gaswitness_probe.facts import reading_points
from gaswitness_probe.signal import Window
from gaswitness_probe.timing import CLOSE, PollTimes, Request, poll_times
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.link_address import LinkAddress
from gaswitness_sitefile.matrix import Cause, Fact, facts_of
from gaswitness_sitefile.site import Site


class Chance(StrEnum):
    """Whether a good panel's response comes out proven: however the polls fall, if they fall well,
    never."""

    SURE = "yes"
    BY_LUCK = "by luck"
    NONE = "no"


@dataclass(frozen=True, slots=True)
class Provable:
    """What can be proven of one cell or level.

    `doubt_s`: width of the interval in which the measured response will lie. `window_s`: what it
    has to fit into. `slack_s`: what must be left over so that it fits however the polls fall.
    `pace_s`: the slowest period of its points at which it is sure, where that is not the present
    one; None where no pace would do on this link. `alone`: only if just its points are asked for
    so often. `why`: what else stands in the way.
    """

    id: str
    doubt_s: float
    window_s: float
    chance: Chance
    pace_s: float | None = None
    alone: bool = False
    why: str = ""

    @property
    def words(self) -> str:
        """What is in the way, and what would mend it; empty where it is sure."""
        if self.chance is Chance.SURE:
            return ""
        if self.why:
            return self.why
        stated = f"{self.doubt_s:.3g} s of doubt"
        if self.chance is Chance.BY_LUCK:
            said = f"with {stated} for {self.window_s:g} s it depends on how the polls fall"
        else:
            said = f"{stated} can never fit into {self.window_s:g} s"
        return f"{said}; {self.remedy}"

    @property
    def remedy(self) -> str:
        """Which pace would prove it however the polls fall; empty where it is not a matter of pace.

        The pace is rounded down, so that what is printed does it.
        """
        if self.chance is Chance.SURE or self.why:
            return ""
        if self.pace_s is None:
            return "no pace on this link makes sure of it"
        only = "its points alone (pace: fast) " if self.alone else ""
        return f"to be sure, poll {only}every {rounded_down(self.pace_s):g} s"


@dataclass(frozen=True, slots=True)
class Provables:
    """All that is said in advance of one site on one link, in the order of the site file."""

    times: PollTimes
    cells: tuple[Provable, ...]
    levels: tuple[Provable, ...]

    @property
    def open(self) -> tuple[Provable, ...]:
        """What may come out inconclusive, however good the panel.

        A level's delay may be tried at every alarm, and one that could not be timed stands against
        nobody: it is only here where no try can succeed.
        """
        cells = [one for one in self.cells if one.chance is not Chance.SURE]
        return (*cells, *(one for one in self.levels if one.chance is Chance.NONE))

    @property
    def fine(self) -> bool:
        """Whether everything is sure, and no state can pass unseen."""
        every = all(one.chance is Chance.SURE for one in (*self.cells, *self.levels))
        return every and not self.times.unseen() and not self.times.overloaded


def provable(site: Site, link: LinkAddress | None = None) -> Provables:
    """What can be proven of the site's cells and delayed levels. Without a link: over a network."""
    view = PanelView(site, {})
    sums = _Sums(view, poll_times(site, link))
    expected = Expectations(view)
    cells = {
        view.cell.id: sums.cell(view)
        for output in expected.outputs.values()
        for view in output.cells
    }
    delayed = [level for level in expected.levels.values() if level.level.on_delay_s > 0]
    return Provables(
        sums.times,
        tuple(cells[cell.id] for cell in site.matrix if cell.id in cells),
        tuple(sums.level(level) for level in delayed),
    )


@dataclass(frozen=True, slots=True)
class _Shown:
    """Where a fact is seen: the request, what its inference adds to the doubt, what is amiss."""

    request: Request | None
    more_s: float = 0.0
    amiss: str = ""


class _Sums:
    def __init__(self, view: PanelView, times: PollTimes) -> None:
        self.view = view
        self.site = view.site
        self.times = times

    def cell(self, view: CellView) -> Provable:
        cell = view.cell
        effect = self.shown(f"{cell.effect}.active")
        if effect is None:
            no = f"no point shows {cell.effect}.active: a person has to look"
            return Provable(cell.id, inf, cell.response_s, Chance.NONE, why=no)
        causes = [self.cause(str(fact)) for fact in _expanded(self.site, cell.cause_tree)]
        own_s = self.site.timing.scan_s if cell.on_delay_s else 0.0
        return self._weighed(cell.id, view.rise, cell.on_delay_s, own_s, causes, effect)

    def level(self, view: LevelView) -> Provable:
        flag = self.shown(view.fact)
        if flag is None:
            no = f"no point shows {view.fact}: a person has to look"
            return Provable(view.fact, inf, view.delay.high, Chance.NONE, why=no)
        reading = self.reading(view.channel.tag)
        delay_s = view.level.on_delay_s
        own_s = self.site.timing.scan_s
        return self._weighed(view.fact, view.delay, delay_s, own_s, [reading], flag)

    def shown(self, fact: str) -> _Shown | None:
        """The best source of a fact that the plan reads."""
        for source in self.view.sources.get(fact, ()):
            request = self.times.of(source.point)
            if request is not None:
                return _Shown(request)
        return None

    def reading(self, tag: str) -> _Shown:
        for point in reading_points(self.site, tag):
            request = self.times.of(point)
            if request is not None:
                return _Shown(request)
        return _Shown(None, amiss=f"no point shows the reading of {tag}")

    def cause(self, fact: str) -> _Shown:
        """Where a fact of a cause is seen, or from what else it is known."""
        found = self.shown(fact)
        if found is not None:
            return found
        tag, _, what = fact.partition(".")
        channel = self.site.channel_of.get(tag)
        if channel is not None and what in channel.levels:
            delay = LevelView(self.view, channel, what).delay
            reading = self.reading(tag)
            return _Shown(reading.request, delay.high - delay.low, reading.amiss)
        if fact == "panel.fault":
            return _Shown(None, amiss="no point shows panel.fault")
        # Known from whoever makes it; how exactly, nobody can say in advance.
        return _Shown(None)

    def _weighed(
        self,
        id_: str,
        rise: Window,
        delay_s: float,
        own_s: float,
        causes: list[_Shown],
        effect: _Shown,
    ) -> Provable:
        causes = causes or [_Shown(None)]
        amiss = next((cause.amiss for cause in causes if cause.amiss), "")
        cause = max(causes, key=lambda one: self._width_s(one, self._apart_s(one)))
        doubt_s = sum(self._width_s(one, self._apart_s(one)) for one in (cause, effect))
        late_s = rise.high - delay_s
        early_s = inf if rise.low <= 0 else delay_s - rise.low
        window_s = late_s if early_s == inf else early_s + late_s
        room_s = min(early_s, late_s - own_s)
        blind = self._blind((*causes, effect))
        if amiss or blind:
            return Provable(id_, doubt_s, window_s, Chance.NONE, why=amiss or blind)
        if doubt_s <= room_s + CLOSE and all(one.request for one in causes):
            return Provable(id_, doubt_s, window_s, Chance.SURE)
        if not all(one.request for one in causes):
            by_hand = "no point shows part of its cause: it is known only from whoever makes it"
            return Provable(id_, doubt_s, window_s, Chance.BY_LUCK, why=by_hand)
        if early_s == inf:
            never = self._least_s(cause, effect, delay_s) > late_s + CLOSE
        else:
            never = doubt_s - self._spread_s(cause) - self._spread_s(effect) > window_s + CLOSE
        chance = Chance.NONE if never else Chance.BY_LUCK
        pace_s, alone = self._pace(cause, effect, room_s)
        return Provable(id_, doubt_s, window_s, chance, pace_s, alone)

    def _apart_s(self, shown: _Shown) -> float:
        return shown.request.apart_s if shown.request is not None else 0.0

    def _width_s(self, shown: _Shown, apart_s: float) -> float:
        if shown.request is None:
            return 0.0
        return apart_s + self.site.timing.refresh_s + shown.request.took_s + shown.more_s

    def _spread_s(self, shown: _Shown) -> float:
        """How much nearer than at the longest two samples may lie."""
        return shown.request.apart_s - shown.request.near_s if shown.request is not None else 0.0

    def _least_s(self, cause: _Shown, effect: _Shown, delay_s: float) -> float:
        """The least that the measured response can reach beyond the delay, however polls fall.

        Without a delay cause and effect come together, and the last sample without the cause was
        asked for before the first with the effect: in one block a period lies between the two.
        """
        if cause.request is None or effect.request is None:
            return 0.0
        if delay_s:
            return effect.request.took_s
        refresh_s = self.site.timing.refresh_s
        if cause.request is effect.request:
            return refresh_s + effect.request.near_s + effect.request.took_s
        return refresh_s + cause.request.took_s + effect.request.took_s

    def _blind(self, shown: tuple[_Shown, ...]) -> str:
        unseen = self.times.unseen()
        apart = [one.request.blind_s for one in shown if one.request in unseen and one.request]
        if not apart:
            return ""
        timing = self.site.timing
        return (
            f"samples lie up to {max(apart):.3g} s apart, too far for the panel's shortest dwell "
            f"of {timing.shortest_dwell_s:g} s with a refresh of {timing.refresh_s:g} s"
        )

    def _pace(self, cause: _Shown, effect: _Shown, room_s: float) -> tuple[float | None, bool]:
        """The slowest period that leaves no more doubt than there is room for, and whether only
        these points can be asked for so often."""
        pace_s = (room_s - self._width_s(cause, 0.0) - self._width_s(effect, 0.0)) / 2
        if pace_s >= self.times.cycle_s > 0:
            return pace_s, False
        own = {id(one.request): one.request for one in (cause, effect) if one.request is not None}
        others = [request for request in self.times.requests if id(request) not in own]
        pace_s -= max((request.busy_s for request in others), default=0.0)
        if pace_s <= 0:
            return None, False
        load = sum(request.busy_s for request in own.values()) / pace_s
        load += sum(request.busy_s / self.site.pace.poll_period_s for request in others)
        return (pace_s, True) if load <= 1 else (None, False)


def _expanded(site: Site, cause: Cause) -> Iterator[Fact]:
    """The facts that are looked at for a cause: `any` and `panel.fault` are sums of others."""
    for fact in facts_of(cause):
        channels = [c for c in site.channels if fact.what == "fault" or fact.what in c.levels]
        if fact.subject == "any":
            yield from (Fact(channel.tag, fact.what) for channel in channels)
        else:
            yield fact
            if str(fact) == "panel.fault":
                yield from (Fact(channel.tag, "fault") for channel in channels)


def rounded_down(seconds: float) -> float:
    """Two figures that are no longer than `seconds`, or three where that begins with a 1."""
    if seconds <= 0:
        return 0.0
    digits = -floor(log10(seconds)) + (2 if f"{seconds:e}"[0] == "1" else 1)
    step = 10.0**-digits
    return round(floor(seconds / step + CLOSE) * step, max(digits, 0))
