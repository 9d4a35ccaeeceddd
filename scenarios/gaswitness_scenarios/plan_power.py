"""The test of a lost supply: what it forgets, what comes again, and what must wait for warm-up."""

from collections.abc import Sequence
from typing import Final

from gaswitness_scenarios.plan_bench import Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import Rung
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.matrix import Fact

OFF_S: Final = 12.0
"""How long the supply is off: long enough to be seen as such."""

LONGEST_WARM_UP_IN_GAS_S: Final = 120.0
"""With a longer warm-up the gas is taken away meanwhile, and comes back before its end."""

LEAST_WARM_UP_S: Final = 8.0
"""In a shorter warm-up nothing can be seen to stay off."""


def power_test(ground: Ground, channels: Sequence[Channel], title: str, beside: str = "") -> Draft:
    """The supply lost and back with gas there; then with alarms latched, and clean air. `beside`:
    words that tell it from another such test."""
    writer = _Power(ground, channels, title, beside)
    writer.alarms()
    writer.lost_in_gas()
    writer.alarms_again()
    writer.clean_air()
    writer.forgotten()
    writer.claims()
    return writer.bench.draft


class _Power:
    def __init__(
        self, ground: Ground, channels: Sequence[Channel], title: str, beside: str
    ) -> None:
        self.beside = beside
        self.ground = ground
        self.site = ground.site
        self.timing = ground.timing
        self.bench = ground.bench(title, "power")
        self.rungs = {c.tag: top for c in channels if (top := _top(ground, c)) is not None}
        reaches = [_reach_s(ground, tag, rung) for tag, rung in self.rungs.items()]
        self.reach_s = max(reaches, default=0.0) + self.timing.level_s
        self.cells = [
            cell
            for tag, rung in self.rungs.items()
            for name in rung.on
            for cell in ground.index.cells_by_fact.get(Fact(tag, name), ())
        ]
        effects = dict.fromkeys(cell.effect for cell in self.cells)
        self.effects = [one for one in effects if ground.output_seen(one)]
        self.warm_up_s = self.site.alarms_count_after_s

    def gas(self) -> None:
        if self.rungs:
            self.bench.apply({tag: rung.past for tag, rung in self.rungs.items()})

    def alarms(self) -> None:
        self.bench.say("Alarms everywhere.")
        self.gas()
        self.bench.hold(self.reach_s + self.timing.comes_s(self.cells))

    def lost_in_gas(self) -> None:
        """The supply lost and back, the gas there, at least towards the end of the warm-up."""
        bench = self.bench
        bench.say("The supply is lost: nothing is energised, and nothing answers.")
        bench.power(on=False)
        bench.hold(OFF_S)
        away = self.warm_up_s > LONGEST_WARM_UP_IN_GAS_S and bool(self.rungs)
        if away:
            bench.apply(dict.fromkeys(self.rungs, "clean"))
            bench.recovered(list(self.rungs))
        bench.say("It returns. While the panel warms up no alarm counts, gas or not.")
        bench.power(on=True)
        bench.hold(self.back_s)
        left_s = max(0.0, self.warm_up_s - self.back_s)
        if left_s > LEAST_WARM_UP_S:
            for effect in self.effects:
                self.stays_off(f"{effect} off in warm-up{self.beside}", effect, 0.4 * left_s)
        if away:
            bench.hold(max(0.0, left_s - self.reach_s))
            self.gas()
            left_s = self.reach_s
        bench.hold(left_s + self.timing.flag_s)

    @property
    def back_s(self) -> float:
        """From the supply's return until the map is served and says how things stand."""
        life = self.site.panel_life
        return (0.0 if life is None else life.dead_to_map_s) + self.timing.flag_s

    def alarms_again(self) -> None:
        """The gas is still there: what it stands for comes again, a pulse aside."""
        delays = [rung.level.on_delay_s for rung in self.rungs.values()]
        hold_s = max(delays, default=0.0) + self.timing.level_s + self.timing.comes_s(self.cells)
        pulsed = {one.tag for one in self.site.outputs if one.pulse_s is not None}
        for effect in self.effects:
            if self.bench.acting.get(effect) and effect not in pulsed:
                name = f"{effect} acts again after warm-up{self.beside}"
                self.bench.expect(name, f"{effect}.active", on=True, within_s=hold_s, for_s=0)
        self.bench.hold(hold_s)

    def clean_air(self) -> None:
        if not self.rungs:
            return
        bench, of = self.bench, self.site.channel_of
        bench.say("The alarms came again. Clean air: what is latched stays.")
        bench.apply(dict.fromkeys(self.rungs, "clean"))
        recover_s = max(self.ground.recover_s(of[t], r.past) for t, r in self.rungs.items())
        bench.hold(recover_s + self.timing.level_s)
        bench.recovered(list(self.rungs))
        bench.hold(self.timing.goes_s(self.cells))

    def forgotten(self) -> None:
        bench = self.bench
        bench.say("What is latched is forgotten with the supply.")
        bench.power(on=False)
        bench.hold(OFF_S)
        bench.power(on=True)
        bench.hold(self.back_s)
        hold_s = self.warm_up_s + self.timing.flag_s + self.timing.key_s
        for effect in self.effects:
            self.stays_off(f"{effect} has forgotten its alarm{self.beside}", effect, 0.6 * hold_s)
        bench.hold(hold_s)
        if bench.draft.moves:
            bench.press("accept")
            bench.hold(self.timing.key_s)

    def stays_off(self, name: str, effect: str, for_s: float) -> None:
        stays_s = round(max(0.5, for_s), 1)
        self.bench.expect(name, f"{effect}.active", on=False, within_s=2, for_s=stays_s)

    def claims(self) -> None:
        site, bench = self.site, self.bench
        for cell in site.matrix:
            bench.cover(cell.id, "W")
        for tag, rung in self.rungs.items():
            for name in rung.on:
                bench.cover(f"{tag}.{name}", "W")
        if site.alarms_count_after_s - site.warm_up_s < 0.9 * site.warm_up_s:
            bench.claim(*self.ground.shows("panel.warm_up"))


def _top(ground: Ground, channel: Channel) -> Rung | None:
    """The furthest level of the first direction."""
    found = ground.ladders[channel.tag]
    return found[0][-1] if found else None


def _reach_s(ground: Ground, tag: str, rung: Rung) -> float:
    channel = ground.site.channel_of[tag]
    near = ground.crossing(channel, rung, past=rung.past)
    lag_s = ground.timing.reaches_s(channel, channel.clean_reading, rung.past, near)
    return lag_s + rung.level.on_delay_s
