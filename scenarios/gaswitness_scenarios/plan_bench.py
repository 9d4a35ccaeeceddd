"""The bench on which tests are put together: steps in a row, and what stands meanwhile.

It keeps the gas at each channel, faults, inhibits and contacts as the steps make them, and from
these which causes stand, so that a test can say which outputs it moves.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_scenarios.plan_stimuli import OWN_FAULT, expanded, holds
from gaswitness_scenarios.plan_supply import PlanSupply, short_words
from gaswitness_sitefile.channel import Direction, LevelsOnFault
from gaswitness_sitefile.matrix import Cause, Cell, Fact, facts_of
from gaswitness_sitefile.site import Site

Step = dict[str, Any]
"""One step as a script file has it."""


class MatrixIndex:
    """The site's cells with their causes expanded, and which facts each depends on."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.supply = PlanSupply(site)
        by_text: dict[str, Cause] = {}
        self.cause_of: dict[str, Cause] = {}
        self.cells_by_fact: dict[Fact, list[Cell]] = {}
        for cell in site.matrix:
            if cell.cause not in by_text:
                by_text[cell.cause] = expanded(site, cell.cause_tree)
            cause = self.cause_of[cell.id] = by_text[cell.cause]
            for fact in dict.fromkeys(facts_of(cause)):
                self.cells_by_fact.setdefault(fact, []).append(cell)

    def standing(self, cell: Cell, facts: frozenset[Fact]) -> bool:
        """Whether the cell's cause is true, given the facts that are."""
        return holds(self.cause_of[cell.id], facts)


@dataclass
class Draft:
    """A test as it is being written. `covers`: (what, kind) pairs that it shows. `short`: why the
    panel's own bus cannot feed it; empty where it can."""

    title: str
    group: str
    steps: list[Step] = field(default_factory=list)
    claims: dict[str, None] = field(default_factory=dict)
    moves: set[str] = field(default_factory=set)
    covers: set[tuple[str, str]] = field(default_factory=set)
    tags: set[str] = field(default_factory=set)
    gas_s: float = 0.0
    applications: int = 0
    id: str = ""
    short: str = ""

    @property
    def length_s(self) -> float:
        """All its holds, in seconds."""
        return float(sum(step.get("hold_s", 0.0) for step in self.steps))


class Bench:
    """Writes one test, from a panel at rest to a panel at rest."""

    def __init__(self, index: MatrixIndex, title: str, group: str) -> None:
        self.index = index
        self.site = index.site
        self.draft = Draft(title, group)
        self.gas: dict[str, float] = {}
        self.faults: set[str] = set()
        self.inhibits: set[str] = set()
        self.inputs: set[str] = set()
        self.own_fault = False
        self.averages: set[Fact] = set()
        self.modes: set[Fact] = set()
        self.on: dict[str, set[str]] = {}
        self.now_s = 0.0
        self.busy_s: dict[str, float] = {}
        self.acting: dict[str, set[str]] = {}
        self.latched: dict[str, set[str]] = {}
        self.came: dict[str, list[str]] = {}
        self.eyes_on: dict[str, tuple[str, int]] = {}
        self._facts: frozenset[Fact] = frozenset()
        self._say = ""

    # --- words and time ---------------------------------------------------------------------

    def say(self, text: str) -> None:
        """Words for the next step."""
        self._say = text

    def step(self, **what: Any) -> None:
        """One step as a script has it."""
        if self._say:
            what = {"say": self._say, **what}
            self._say = ""
        self.draft.steps.append(what)

    def hold(self, seconds: float) -> None:
        """Let time pass, whole tenths of a second."""
        if seconds < 0.01:
            return
        hold_s = round(seconds + 0.05, 1)
        self.now_s += hold_s
        if self.gas:
            self.draft.gas_s += hold_s
        self.step(hold_s=int(hold_s) if hold_s == int(hold_s) else hold_s)

    # --- what a tester does -----------------------------------------------------------------

    def apply(self, to: Mapping[str, float | str], over_s: float = 0.0) -> None:
        """Gas to channels: amounts, or `clean` or `over range`; those of one amount in one step."""
        by_amount: dict[float | str, list[str]] = {}
        for tag, amount in to.items():
            by_amount.setdefault(amount, []).append(tag)
            self.draft.tags.add(tag)
            if amount != "clean" and tag not in self.gas:
                self.draft.applications += 1
            self._set_gas(tag, amount)
        for amount, tags in by_amount.items():
            where = tags[0] if len(tags) == 1 else tags
            record: Step = {"channel": where, "to": number(amount)}
            if over_s:
                record["over_s"] = number(over_s)
            self.step(gas=record)
        self._follow()

    def recovered(self, tags: Iterable[str]) -> None:
        """Clean air has come back to the readings: gas time is over."""
        for tag in tags:
            self.gas.pop(tag, None)

    def _set_gas(self, tag: str, amount: float | str) -> None:
        channel = self.site.channel_of[tag]
        level = channel.clean_reading if amount == "clean" else amount
        if level == "over range":
            level = channel.shown_limits[1] + 0.2 * channel.span
        assert isinstance(level, float | int)
        self.gas[tag] = float(level)
        on = self.on.setdefault(tag, set())
        for name, one in channel.levels.items():
            rising = one.direction is Direction.RISING
            beyond = level >= one.setpoint if rising else level <= one.setpoint
            if beyond:
                on.add(name)
            elif not one.latching:
                on.discard(name)

    def fault(self, tag: str, *, on: bool, drop_out: bool = False) -> None:
        """A channel's fault, or its detector off the bus; or the end of it."""
        self.draft.tags.add(tag)
        word = ("drop_out" if on else "return") if drop_out else ("fault" if on else "fault_clear")
        self.step(**{word: tag})
        (self.faults.add if on else self.faults.discard)(tag)
        if on and self.site.channel_of[tag].levels_on_fault is LevelsOnFault.TRIP:
            self.on.setdefault(tag, set()).update(self.site.channel_of[tag].levels)
        if not on:
            self._set_gas_again(tag)
        self._follow()

    def _set_gas_again(self, tag: str) -> None:
        for name, one in self.site.channel_of[tag].levels.items():
            if tag not in self.gas and not one.latching:
                self.on.setdefault(tag, set()).discard(name)

    def inhibit(self, tags: Iterable[str], *, on: bool) -> None:
        """Set channels' inhibits, or take them away."""
        named = list(tags)
        if not named:
            return
        everyone = len(named) == len(self.site.channels) and len(named) > 1
        where: object = "all" if everyone else named[0] if len(named) == 1 else named
        self.step(**{"inhibit" if on else "uninhibit": where})
        (self.inhibits.update if on else self.inhibits.difference_update)(named)
        self.draft.tags.update(named)
        self._follow()

    def force(self, tag: str, on: str) -> None:
        """An output forced `on` or `off` at the panel, or no longer (`end`)."""
        self.step(output_test={"output": tag, "on": on})
        self.draft.moves.add(tag)
        self.draft.tags.add(tag)

    def in_test(self, tag: str, *, on: bool) -> None:
        """A channel put in test, or taken out."""
        self.step(**{"test_mode" if on else "end_test_mode": tag})
        (self.modes.add if on else self.modes.discard)(Fact(tag, "test"))
        self._follow()

    def calibration(self, tag: str, for_s: float) -> None:
        """A channel in calibration, which is over by itself."""
        self.step(calibrate={"channel": tag, "for_s": number(for_s)})
        self.modes.add(Fact(tag, "calibration"))
        self._follow()

    def calibrated(self, tag: str) -> None:
        """The time of the calibration is over."""
        self.modes.discard(Fact(tag, "calibration"))
        self._follow()

    def input(self, tag: str, *, on: bool) -> None:
        """A contact made or opened."""
        self.draft.tags.add(tag)
        self.step(input={"tag": tag, "active": "on" if on else "off"})
        (self.inputs.add if on else self.inputs.discard)(tag)
        self._follow()

    def average(self, fact: Fact, *, on: bool) -> None:
        """An exposure average that gas has brought to its limit, or that counts no more."""
        (self.averages.add if on else self.averages.discard)(fact)
        self._follow()

    def panel_fault(self, *, on: bool) -> None:
        """A fault of the panel itself."""
        self.step(panel_fault="on" if on else "off")
        self.own_fault = on
        self._follow()

    def press(self, key: str) -> None:
        """A key of the panel."""
        self.step(press=key)
        if key == "reset":
            for tag, on in self.on.items():
                channel = self.site.channel_of[tag]
                level = self.gas.get(tag, channel.clean_reading)
                for name in list(on):
                    one = channel.levels[name]
                    rising = one.direction is Direction.RISING
                    back = (
                        one.setpoint - one.hysteresis if rising else (one.setpoint + one.hysteresis)
                    )
                    if level < back if rising else level > back:
                        on.discard(name)
            self._follow()
            self._unlatch()

    def power(self, *, on: bool) -> None:
        """The panel's supply."""
        self.step(power="on" if on else "off")
        if not on:
            self.on = {}
            self.averages = set()
            self._unlatch()
        else:
            for tag, level in list(self.gas.items()):
                self._set_gas(tag, level)
        self._follow()

    def expect(self, name: str, fact: str, *, on: bool, within_s: float, for_s: float) -> None:
        """What must be seen, as a verdict of its own name."""
        record: Step = {"name": name, "fact": fact, "is": "on" if on else "off"}
        record["within_s"] = number(within_s)
        if for_s:
            record["for_s"] = number(for_s)
        self.step(expect=record)
        self.claim(f"expectation/{name}")

    def look(self, fact: str, ask: str) -> None:
        """A person looks or listens."""
        self.step(look={"fact": fact, "ask": ask})

    # --- what it is good for ----------------------------------------------------------------

    def claim(self, *claims: str) -> None:
        """Verdicts, or aspects of them, that the test proves."""
        self.draft.claims.update(dict.fromkeys(claims))

    def cover(self, what: str, *kinds: str) -> None:
        """Kinds of a cell, level or channel that the test shows."""
        self.draft.covers.update((what, kind) for kind in kinds)

    def at(self, tags: Iterable[str], rung: Mapping[str, Rung]) -> None:
        """Gas past a level of each."""
        self.apply({tag: rung[tag].past for tag in tags if tag in rung})

    @property
    def facts(self) -> frozenset[Fact]:
        """The facts that count as causes now."""
        found = {Fact(tag, "inhibit") for tag in self.inhibits}
        for tag, on in self.on.items():
            if tag not in self.inhibits:
                found.update(Fact(tag, name) for name in on)
        found.update(Fact(tag, "fault") for tag in self.faults - self.inhibits)
        found.update(Fact(tag, "active") for tag in self.inputs)
        found.update(one for one in self.modes if one.subject not in self.inhibits)
        found.update(one for one in self.averages if one.subject not in self.inhibits)
        if self.own_fault:
            found.add(OWN_FAULT)
        return frozenset(found)

    def _follow(self) -> None:
        """Which causes stand now; an output that may still run on is busy until it cannot."""
        now = self.facts
        changed = sorted(now ^ self._facts, key=str)
        for cell in {
            c.id: c for f in changed for c in self.index.cells_by_fact.get(f, ())
        }.values():
            acting = self.acting.setdefault(cell.effect, set())
            if self.index.standing(cell, now):
                if cell.id not in acting:
                    self.came.setdefault(cell.effect, []).append(cell.id)
                acting.add(cell.id)
                self.draft.moves.add(cell.effect)
            elif cell.id in acting:
                acting.discard(cell.id)
                if cell.latching:
                    self.latched.setdefault(cell.effect, set()).add(cell.id)
                over_s = self.now_s + cell.off_delay_s + cell.response_s
                self.busy_s[cell.effect] = max(self.busy_s.get(cell.effect, 0.0), over_s)
        self._facts = now
        if not self.index.supply.ample:
            self._draws()

    def _draws(self) -> None:
        """Whether the bus feeds all that is on now."""
        acting = {one for one, cells in self.acting.items() if cells}
        acting |= {one for one, cells in self.latched.items() if cells}
        alarmed = {tag for tag, on in self.on.items() if on}
        short = self.index.supply.short(acting, alarmed)
        if short and not self.draft.short:
            self.draft.short = short_words(short, acting)

    def _unlatch(self) -> None:
        """Latched outputs go, and are at rest once the time for it is over."""
        for effect, cells in self.latched.items():
            if cells:
                waits = [one.off_delay_s + one.response_s for one in self.site.cells_of[effect]]
                over_s = self.now_s + max(waits)
                self.busy_s[effect] = max(self.busy_s.get(effect, 0.0), over_s)
        self.latched = {}

    def at_rest(self, effect: str) -> bool:
        """Whether the output must be off by now."""
        standing = self.acting.get(effect) or self.latched.get(effect)
        return not standing and self.busy_s.get(effect, 0.0) <= self.now_s

    def rests_in_s(self, effects: Iterable[str]) -> float:
        """How long until these outputs, whose causes have gone, are surely at rest."""
        return max((self.busy_s.get(one, 0.0) - self.now_s for one in effects), default=0.0)

    def alone(self, cell: Cell) -> bool:
        """Whether no other cell of its output stands, or may still run on."""
        others = self.acting.get(cell.effect, set()) | self.latched.get(cell.effect, set())
        return not others - {cell.id} and self.busy_s.get(cell.effect, 0.0) <= self.now_s


def number(value: float | str) -> float | int | str:
    """As people write it: at most five digits, whole where it is."""
    if isinstance(value, str):
        return value
    rounded = float(f"{value:.5g}")
    return int(rounded) if rounded == int(rounded) else rounded
