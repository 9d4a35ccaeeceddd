"""Tests without gas: faults of channels and of the panel, contacts, each alone."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Final

from gaswitness_probe.output_time import EARLY, MINIMUM
from gaswitness_scenarios.plan_bench import Bench, Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_sight import look_at_rest, look_now, unseen_at_rest
from gaswitness_scenarios.plan_stimuli import OWN_FAULT, Turn, is_free
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


def combinations_test(ground: Ground, title: str) -> Draft | None:
    """What takes several sources without gas, or an inhibit: one turns it beside the others. None
    where there is no such cell."""
    index = ground.index
    bench = ground.bench(title, "faults")
    writer = _Free(ground, bench)
    for cell, turn in list(ground.needs()):
        sources = (turn.fact, *turn.standing)
        on, off = frozenset(sources), frozenset(turn.standing)
        others = [one for one in ground.site.cells_of[cell.effect] if one.id != cell.id]
        if not all(is_free(ground.site, fact) for fact in sources):
            continue
        if any(index.standing(other, facts) for other in others for facts in (on, off)):
            continue
        writer.combination(cell, turn)
    if not bench.draft.steps:
        return None
    bench.press("accept")
    bench.hold(ground.timing.key_s)
    writer.rest()
    return bench.draft


def forced_test(ground: Ground, title: str) -> Draft | None:
    """Each output forced on, then off, at the panel, whatever its causes say. None where no point
    shows that one is."""
    site, timing = ground.site, ground.timing
    tags = [one.tag for one in site.outputs if f"{one.tag}.forced" in ground.shown]
    if not tags:
        return None
    bench = ground.bench(title, "outputs")
    wait_s = timing.up(site.timing.flag_response_s + timing.sight_s)
    for tag in tags:
        for on in ("on", "off"):
            bench.force(tag, on)
            bench.expect(
                f"{tag} forced {on}", f"{tag}.active", on=on == "on", within_s=wait_s, for_s=0
            )
            bench.hold(wait_s)
        bench.force(tag, "end")
        bench.hold(wait_s)
        bench.claim(*ground.shows(f"{tag}.forced"))
    bench.claim(*ground.shows("panel.test"))
    return bench.draft


def own_time_test(ground: Ground, title: str) -> Draft | None:
    """Outputs that act for a time of their own: a brief cause, and they act on. None where no
    contact or fault turns one."""
    bench = ground.bench(title, "inputs")
    writer = _Free(ground, bench)
    for output in ground.site.outputs:
        if output.minimum_on_s is None:
            continue
        for cell in ground.site.cells_of[output.tag]:
            turn = next(
                (
                    one
                    for one in ground.turns_of[cell.id]
                    if one.on and not one.standing and is_free(ground.site, one.fact)
                ),
                None,
            )
            if turn is not None and not cell.latching and not cell.off_delay_s:
                writer.briefly(cell, turn.fact)
                break
    return bench.draft if bench.draft.steps else None


LATCH_SHOWN_S: Final = 3.2
"""How long a latch is seen to hold an output beyond the time allowed to others for letting go."""

CALIBRATION_S: Final = 90.0
"""How long a calibration takes in a plan: longer than all that is looked at meanwhile."""


class _Free:
    """A source made and taken away; what it alone moves comes and goes."""

    def __init__(self, ground: Ground, bench: Bench) -> None:
        self.ground = ground
        self.bench = bench
        self.timing = ground.timing
        self.moved: list[str] = []
        self.seen_faulty: set[str] = set()
        self.calibrated_s = 0.0

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
        hold_s = wait_s + self.timing.comes_s(self.cells())
        if fact.what == "fault" and fact.subject in self.ground.site.channel_of:
            channel = self.ground.site.channel_of[fact.subject]
            words = "when it drops out" if fact.subject in self.seen_faulty else "in fault"
            self.seen_faulty.add(fact.subject)
            self.ground.levels_in_fault(bench, channel, words, hold_s)
        bench.hold(hold_s)
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
        look_now(self.ground, bench, dict.fromkeys(self.moved))

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
        self.ground.mute_in_vain(self.bench)

    def turn_off(self, unmake: Callable[[], None], wait_s: float, *, resets: bool = False) -> None:
        bench = self.bench
        cells = self.cells()
        alone = {cell.id for cell in cells if self.only(cell)}
        unmake()
        gone = [cell for cell in cells if cell.id not in bench.acting[cell.effect]]
        if any(cell.latching for cell in gone):
            # an off-delay that is not to be there would refuse a reset that comes so soon
            wait_s = LATCH_SHOWN_S - self.timing.sight_s
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

    def combination(self, cell: Cell, turn: Turn) -> None:
        """Beside the others that stand, one source turns the cell; alone they do not."""
        bench = self.bench
        bench.hold(max(0.0, bench.rests_in_s({cell.effect})))
        for fact in turn.standing:
            self.make(fact, on=True)
        hold_s = self.made_s(turn.standing) + self.timing.comes_s([cell])
        if turn.standing:
            self.see(cell, f"{_and(turn.standing)} alone", hold_s, on=not turn.on)
            bench.hold(hold_s)
        words = " with ".join([str(turn.fact), *([_and(turn.standing)] if turn.standing else [])])
        window_s = max(self.timing.comes_s([cell]), self.timing.goes_s([cell]))
        hold_s = self.made_s([turn.fact]) + window_s
        bench.say(f"{words}: {cell.effect}.")
        self.make(turn.fact, on=True)
        self.see(cell, words, hold_s, on=turn.on)
        bench.hold(hold_s)
        self.ground.done.add((cell.id, turn))
        self.moved.append(cell.effect)
        if turn.standing:
            bench.cover(cell.id, "V")
        if turn.on:
            self.claim(cell, "R", "rises")
            bench.press("reset")
            bench.hold(self.timing.key_s)
            self.claim(cell, "P", "reset refused")
            look_now(self.ground, bench, [cell.effect])
        if not cell.latching:
            self.inhibited(cell, turn)
        self.make(turn.fact, on=False)
        bench.hold(self.timing.flag_s + window_s)
        if turn.on:
            self.claim(cell, *(("L", "latches") if cell.latching else ("F", "releases")))
        for fact in turn.standing:
            self.make(fact, on=False)
        if turn.standing:
            bench.hold(self.timing.flag_s + window_s)
        trips = [f for f in (turn.fact, *turn.standing) if f.what == "fault"]
        if cell.latching or trips:
            bench.press("reset")
            bench.hold(self.timing.key_s + self.timing.goes_s([cell]))
            if cell.latching:
                self.claim(cell, "A", "reset")
        unseen_at_rest(self.ground, bench, [cell.effect])

    def briefly(self, cell: Cell, fact: Fact) -> None:
        """The cause for no longer than it takes to be seen; the output for its own time."""
        bench = self.bench
        own_s = self.timing.own_s(cell.effect)
        wait_s = self.made_s([fact]) + cell.on_delay_s + self.timing.sight_s
        bench.say(f"{fact} for a moment: {cell.effect} acts on.")
        self.make(fact, on=True)
        bench.hold(wait_s)
        self.make(fact, on=False)
        bench.hold(own_s + self.timing.flag_s + self.timing.goes_s([cell]))
        minimum_s = self.ground.site.output_of[cell.effect].minimum_on_s or 0.0
        gone_s = wait_s + self.timing.flag_s + self.timing.goes_s([cell])
        if self.ground.output_seen(cell.effect) and gone_s < EARLY * minimum_s:
            bench.claim(f"cell/{cell.id}: {MINIMUM}")

    def claim(self, cell: Cell, kind: str, aspect: str) -> None:
        self.bench.cover(cell.id, kind)
        if self.ground.output_seen(cell.effect):
            self.bench.claim(f"cell/{cell.id}: {aspect}")

    def see(self, cell: Cell, words: str, hold_s: float, *, on: bool) -> None:
        if not self.ground.output_seen(cell.effect):
            return
        name, fact = f"{cell.id}: {words}", f"{cell.effect}.active"
        if on:
            self.bench.expect(name, fact, on=True, within_s=hold_s, for_s=0)
        else:
            for_s = round(max(0.5, hold_s - 1 - self.timing.sight_s), 1)
            self.bench.expect(name, fact, on=False, within_s=1, for_s=for_s)

    def make(self, fact: Fact, *, on: bool) -> None:
        """The source made, or taken away."""
        bench = self.bench
        if fact == OWN_FAULT:
            bench.panel_fault(on=on)
        elif fact.subject in self.ground.site.input_of:
            bench.input(fact.subject, on=on)
        elif fact.what == "inhibit":
            bench.inhibit([fact.subject], on=on)
        elif fact.what == "test":
            bench.in_test(fact.subject, on=on)
        elif fact.what == "calibration" and on:
            self.calibrated_s = bench.now_s + CALIBRATION_S
            bench.calibration(fact.subject, CALIBRATION_S)
        elif fact.what == "calibration":
            bench.hold(max(0.0, self.calibrated_s - bench.now_s))
            bench.calibrated(fact.subject)
        else:
            bench.fault(fact.subject, on=on)

    def inhibited(self, cell: Cell, turn: Turn) -> None:
        """Each channel that the cause needs, inhibited, lets go of it, and brings it again."""
        bench = self.bench
        sources = (turn.fact, *turn.standing)
        tags = [one.subject for one in sources if one.subject in self.ground.site.channel_of]
        if not turn.on or any(one.what == "inhibit" for one in sources):
            return
        for tag in dict.fromkeys(tags):
            bench.say(f"Inhibited, {tag} does not count.")
            bench.inhibit([tag], on=True)
            hold_s = self.timing.flag_s + self.timing.goes_s([cell])
            bench.hold(max(hold_s, self.timing.flag_s + self.timing.comes_s([cell])))
            bench.inhibit([tag], on=False)
            bench.hold(self.timing.flag_s + self.timing.comes_s([cell]))
        if tags:
            bench.cover(cell.id, "I")

    def made_s(self, facts: Sequence[Fact]) -> float:
        """Until all of them show."""
        of = self.ground.site.channel_of
        delays = [
            of[f.subject].fault_delay_s for f in facts if f.what == "fault" and f.subject in of
        ]
        return max(delays, default=0.0) + self.timing.flag_s

    def rest(self) -> None:
        for tag in dict.fromkeys(self.moved):
            look_at_rest(self.ground, self.bench, tag)


def _and(facts: Sequence[Fact]) -> str:
    return " and ".join(str(fact) for fact in facts)
