"""Tests without gas: faults of channels and of the panel, contacts, each alone."""

from collections.abc import Callable
from functools import partial

from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_stimuli import OWN_FAULT
from gaswitness_sitefile.channel import Channel, LevelsOnFault
from gaswitness_sitefile.devices import DigitalInput
from gaswitness_sitefile.matrix import Cell, Fact


def fault_test(ground: Ground, channel: Channel, title: str) -> Draft:
    """A channel's sensor fault, mended; then its detector drops out, and returns."""
    bench = ground.bench(title, "faults")
    timing, tag = ground.timing, channel.tag
    fact = Fact(tag, "fault")
    writer = _Free(ground, bench)
    wait_s = channel.fault_delay_s + timing.flag_s
    trips = channel.levels_on_fault is LevelsOnFault.TRIP and bool(channel.levels)
    for drop_out in (False, True):
        lost_s = timing.lost_s() if drop_out else 0.0
        bench.say("The detector drops out." if drop_out else "A sensor fault.")
        writer.turn_on(fact, partial(bench.fault, tag, on=True, drop_out=drop_out), wait_s + lost_s)
        if not drop_out:
            writer.refused_reset()
        bench.say("It returns." if drop_out else "Mended.")
        writer.turn_off(
            partial(bench.fault, tag, on=False, drop_out=drop_out),
            timing.flag_s + lost_s,
            resets=trips,
        )
        bench.cover(f"{tag}.fault", "D" if drop_out else "X")
        writer.cover_all(fact, "D" if drop_out else "X")
    bench.press("accept")
    bench.hold(timing.key_s)
    bench.claim(*ground.shows(f"{tag}.fault", "panel.fault", "any.fault", "panel.unaccepted"))
    bench.claim(*ground.in_fault(channel))
    writer.rest()
    return bench.draft


def panel_fault_test(ground: Ground, title: str) -> Draft:
    """A fault of the panel itself."""
    bench = ground.bench(title, "faults")
    writer = _Free(ground, bench)
    writer.turn_on(OWN_FAULT, lambda: bench.panel_fault(on=True), ground.timing.flag_s)
    writer.refused_reset()
    writer.turn_off(lambda: bench.panel_fault(on=False), ground.timing.flag_s)
    bench.press("accept")
    bench.hold(ground.timing.key_s)
    bench.claim(*ground.shows("panel.fault"))
    writer.rest()
    return bench.draft


def input_test(ground: Ground, contact: DigitalInput, title: str) -> Draft:
    """A contact made and opened, with reset while it stands and after."""
    bench = ground.bench(title, "inputs")
    writer = _Free(ground, bench)
    fact = Fact(contact.tag, "active")
    writer.turn_on(fact, lambda: bench.input(contact.tag, on=True), ground.timing.flag_s)
    writer.refused_reset()
    writer.turn_off(lambda: bench.input(contact.tag, on=False), ground.timing.flag_s)
    bench.claim(*ground.shows(f"{contact.tag}.active"))
    writer.rest()
    return bench.draft


class _Free:
    """A source made and taken away; what it alone moves comes and goes."""

    def __init__(self, ground: Ground, bench: Bench) -> None:
        self.ground = ground
        self.bench = bench
        self.timing = ground.timing
        self.moved: list[str] = []

    def cells(self) -> list[Cell]:
        """Those whose cause stands."""
        return [
            cell
            for effect, ids in self.bench.acting.items()
            for cell in self.ground.site.cells_of[effect]
            if cell.id in ids
        ]

    def turn_on(self, fact: Fact, make: Callable[[], None], wait_s: float) -> None:
        bench = self.bench
        before = {effect for effect, ids in bench.acting.items() if ids}
        rests = {one.effect for one in self.cells()}
        make()
        bench.hold(wait_s + self.timing.comes_s(self.cells()))
        for cell in self.cells():
            self.moved.append(cell.effect)
            if cell.effect in before or cell.effect in rests or not self.only(cell):
                continue
            for turn in self.ground.turns_of[cell.id]:
                if turn.fact == fact and turn.on and not turn.standing:
                    self.ground.done.add((cell.id, turn))
            bench.cover(cell.id, "R")
            if self.ground.output_seen(cell.effect):
                bench.claim(f"cell/{cell.id}: rises")
        self.ground.look_now(bench, dict.fromkeys(self.moved))

    def only(self, cell: Cell) -> bool:
        return self.bench.acting[cell.effect] == {cell.id}

    def cover_all(self, fact: Fact, kind: str) -> None:
        for cell in self.ground.cells_of_fact(fact):
            self.bench.cover(cell.id, kind)

    def refused_reset(self) -> None:
        if not self.cells():
            return
        self.bench.say("While it stands, reset changes nothing.")
        self.bench.press("reset")
        self.bench.hold(self.timing.key_s)
        for cell in self.cells():
            if self.only(cell):
                self.bench.cover(cell.id, "P")
                if self.ground.output_seen(cell.effect):
                    self.bench.claim(f"cell/{cell.id}: reset refused")

    def turn_off(self, unmake: Callable[[], None], wait_s: float, *, resets: bool = False) -> None:
        bench = self.bench
        cells = self.cells()
        alone = {cell.id for cell in cells if self.only(cell)}
        unmake()
        gone = [cell for cell in cells if cell.id not in bench.acting[cell.effect]]
        bench.hold(wait_s + self.timing.goes_s(gone))
        for cell in gone:
            if cell.id not in alone:
                continue
            kind, aspect = ("L", "latches") if cell.latching else ("F", "releases")
            bench.cover(cell.id, kind)
            if self.ground.output_seen(cell.effect):
                bench.claim(f"cell/{cell.id}: {aspect}")
        if resets or any(cell.latching for cell in cells):
            still = self.cells()
            bench.say("Reset clears what is latched.")
            bench.press("reset")
            bench.hold(self.timing.key_s + self.timing.goes_s([*still, *cells]))
            for cell in cells:
                if cell.latching and cell.id in alone:
                    bench.cover(cell.id, "A")
                    if self.ground.output_seen(cell.effect):
                        bench.claim(f"cell/{cell.id}: reset")

    def rest(self) -> None:
        for tag in dict.fromkeys(self.moved):
            self.ground.look_at_rest(self.bench, tag)
