"""What a script exercises of a site, and what it leaves out, in words: test support.

Written apart from the planner. It asks of an ideal panel's timeline, cell by cell, whether each
side of the cell was to be seen: with no other cell of the same output acting meanwhile.
"""

from bisect import bisect_right
from itertools import combinations, pairwise

from ideal_panel import AWAY, IdealPanel, truth_of

from gaswitness_sitefile.channel import Direction, LevelsOnFault
from gaswitness_sitefile.matrix import AllOf, AnyOf, Fact, Not, Vote, facts_of
from gaswitness_sitefile.points import NUMERIC, PointType
from gaswitness_sitefile.site import InhibitActs

SEEN_S = 3.0
"""So long must something stand to be seen, with its response time over."""


def missing_from(site, script):
    """All that the script does not exercise, in words; empty where it is complete."""
    return list(Coverage(site, script).missing())


class Coverage:
    """One script played against an ideal panel of the site."""

    def __init__(self, site, script):
        self.site = site
        self.script = script
        panel = IdealPanel(site, script)
        self.stretches, self.settled = panel.stretches, panel.settled
        self.facts_of = {
            tag: [name for name in self.stretches[0].shown if name.startswith(f"{tag}.")]
            for tag in site.channel_of
        }
        self.mapped = {shows for point in site.points for _, shows in point.facts()}
        self.off_by_inhibit = site.behaviour.inhibit is InhibitActs.LEVELS

    def missing(self):
        for cell in self.site.matrix:
            yield from self._cell(cell)
        for channel in self.site.channels:
            yield from self._channel(channel)
        for output in self.site.outputs:
            yield from self._output(output)
        yield from self._power()
        yield from self._points()

    # --- spans ------------------------------------------------------------------------------

    def _for(self, holds, seconds):
        """Whether it holds without a break for as long as that."""
        since = None
        for one in self.stretches:
            if not holds(one):
                since = None
            else:
                since = one.at_s if since is None else since
                if one.end_s - since >= seconds:
                    return True
        return False

    def _all(self, holds, low, high):
        """Whether it holds all through from `low` to `high`."""
        first = bisect_right(self.stretches, low, key=lambda one: one.end_s)
        for one in self.stretches[first:]:
            if one.at_s >= high:
                break
            if not holds(one):
                return False
        return True

    def _alone(self, cell, one):
        """Whether no other cell acts on the output, so that it shows what this one does."""
        others = self.site.cells_of[cell.effect]
        return one.power and not any(one.acting[other.id] for other in others if other is not cell)

    def _shows(self, cell, one):
        told = not one.muted[cell.effect] and not one.shown[f"{cell.effect}.forced"]
        return self._alone(cell, one) and told

    def _seen_edge(self, cell, *, to, needs=lambda _here: True):
        """An attributable change of the cell: alone and unmuted from before until well after."""
        for before, here in pairwise(self.stretches):
            if before.acting[cell.id] is to or here.acting[cell.id] is not to:
                continue
            until_s = here.at_s + SEEN_S + cell.response_s
            if (
                needs(here)
                and self._all(lambda one: self._shows(cell, one), here.at_s - 2.0, until_s)
                and self._all(lambda one: one.acting[cell.id] is to, here.at_s, until_s)
            ):
                return True
        return False

    # --- cells ------------------------------------------------------------------------------

    def _cell(self, cell):
        name = cell.id
        if not self._seen_edge(cell, to=True):
            yield f"{name}: never seen to rise by itself"
        yield from self._going(cell)
        yield from self._just_under(cell)
        yield from self._terms(cell, cell.cause_tree)
        for tag in self._channels_in(cell):
            if not self._inhibited(cell, tag):
                yield f"{name}: never held off, or let go, by the inhibit of {tag} alone"
        yield from self._faults(cell)

    def _going(self, cell):
        name = cell.id
        if not cell.latching:
            if not self._seen_edge(cell, to=False):
                yield f"{name}: never seen to fall by itself"
        else:
            stays_s = cell.off_delay_s + cell.response_s + SEEN_S

            def latched(one):
                gone = one.acting[name] and not truth_of(cell.cause_tree, one.facts)
                return gone and self._shows(cell, one)

            if not self._for(latched, stays_s):
                yield f"{name}: never seen to latch with its cause gone"
            if not self._seen_edge(cell, to=False, needs=lambda here: "reset" in here.pressed):
                yield f"{name}: never seen to go off by a reset after its cause"
        if (cell.latching or self._latching_levels(cell)) and not self._refused(cell):
            yield f"{name}: no reset pressed while its cause stands by itself"

    def _latching_levels(self, cell):
        levels = [level for _, _, level in self._levels_in(cell)]
        return any(level.latching for level in levels)

    def _refused(self, cell):
        def stands(one):
            return one.delayed[cell.id] and self._shows(cell, one)

        return any(
            "reset" in one.pressed and self._all(stands, one.at_s, one.at_s + SEEN_S)
            for one in self.stretches
        )

    def _levels_in(self, cell):
        for fact in dict.fromkeys(facts_of(cell.cause_tree)):
            for tag in self._tags(fact):
                channel = self.site.channel_of[tag]
                if fact.what in channel.levels:
                    yield channel, fact.what, channel.levels[fact.what]

    def _tags(self, fact):
        if fact.subject in self.site.channel_of:
            return [fact.subject]
        if fact.subject == "any":
            have = self.site.channels
            return [c.tag for c in have if fact.what == "fault" or fact.what in c.levels]
        if str(fact) == "panel.fault":
            return list(self.site.channel_of)
        return []

    def _channels_in(self, cell):
        facts = [fact for fact in facts_of(cell.cause_tree) if fact.what not in AWAY]
        tags = [tag for fact in facts for tag in self._tags(fact)]
        return list(dict.fromkeys(tags))

    def _just_under(self, cell):
        for channel, name, _ in self._levels_in(cell):
            fact = f"{channel.tag}.{name}"

            def under(one, fact=fact):
                seen = fact in self.mapped or not one.acting[cell.id]
                return fact in one.short and not one.shown[fact] and seen

            if not self._for(under, cell.on_delay_s + SEEN_S):
                yield f"{cell.id}: gas never stood just short of {fact} with it off"

    # --- votes and joined causes ------------------------------------------------------------

    def _terms(self, cell, cause):
        match cause:
            case Vote(need, terms):
                yield from self._vote(cell, need, terms)
                if all(isinstance(term, Fact) for term in terms):
                    yield from self._lower(cell, need, terms)
                for term in terms:
                    yield from self._terms(cell, term)
            case AllOf(terms) | AnyOf(terms):
                for term in terms:
                    if not self._pivotal(cell, term, on=True):
                        yield f"{cell.id}: never on for {term} alone deciding"
                    if not self._pivotal(cell, term, on=False):
                        yield f"{cell.id}: never off for {term} alone deciding"
                    yield from self._terms(cell, term)
            case Not(term):
                yield from self._terms(cell, term)
            case Fact(subject="any"):
                for tag in self._tags(cause):
                    if not self._by_alone(cell, cause, tag):
                        yield f"{cell.id}: never raised by {tag}.{cause.what} alone"

    def _vote(self, cell, need, terms):
        for size, fires in ((need, True), (need - 1, False)):
            for chosen in combinations(terms, size):

                def stands(one, chosen=chosen, fires=fires):
                    right = all(truth_of(t, one.facts) is (t in chosen) for t in terms)
                    return right and self._shows(cell, one) and one.delayed[cell.id] is fires

                if not self._for(stands, SEEN_S + (0 if fires else cell.on_delay_s)):
                    of = " and ".join(str(term) for term in chosen) or "none"
                    what = "does it" if fires else "does not do it"
                    yield f"{cell.id}: never seen that {of} alone {what}"

    def _lower(self, cell, need, terms):
        """A member that is in alarm, but a level below the one that counts, is no vote."""
        for term in terms:
            channel = self.site.channel_of.get(getattr(term, "subject", ""))
            names = list(channel.levels) if channel is not None else []
            if term.what not in names[1:] or need < 2:
                continue
            below = f"{term.subject}.{names[names.index(term.what) - 1]}"
            others = [other for other in terms if other != term]
            if channel.levels[term.what].direction is not channel.levels[below[-2:]].direction:
                continue

            def stands(one, term=term, below=below, others=others):
                votes = sum(truth_of(other, one.facts) for other in others)
                lower = one.facts[below] and not one.facts[str(term)]
                return lower and votes == need - 1 and self._shows(cell, one)

            if not self._for(stands, cell.on_delay_s + SEEN_S):
                yield f"{cell.id}: never seen that {below} is no vote beside {need - 1} more"

    def _pivotal(self, cell, term, *, on):
        """The cause stands, and would not if the term were otherwise (or the other way round)."""

        def decides(one):
            now = truth_of(cell.cause_tree, one.facts)
            if now is not on or not self._shows(cell, one):
                return False
            return _with_term(cell.cause_tree, term, one.facts) is not now

        return self._for(decides, cell.on_delay_s + SEEN_S)

    def _by_alone(self, cell, fact, tag):
        others = [other for other in self._tags(fact) if other != tag]

        def alone(one):
            mine = one.facts[f"{tag}.{fact.what}"] and one.delayed[cell.id]
            return (
                mine
                and self._shows(cell, one)
                and not any(one.facts[f"{other}.{fact.what}"] for other in others)
            )

        return self._for(alone, SEEN_S)

    # --- inhibits and faults ----------------------------------------------------------------

    def _inhibited(self, cell, tag):
        """The cause does not stand, and would if only this channel were not inhibited."""

        def keeps_off(one):
            if not one.shown[f"{tag}.inhibit"] or one.acting[cell.id]:
                return False
            lifted = dict(one.facts)
            for name in self.facts_of[tag]:
                on = one.shown[name] or (self.off_by_inhibit and name in one.beyond)
                lifted[name] = on
                common = f"any.{name.partition('.')[2]}"
                lifted[common] = lifted.get(common, False) or on
            lifted["panel.fault"] = lifted["panel.fault"] or lifted[f"{tag}.fault"]
            stands = truth_of(cell.cause_tree, one.facts)
            return not stands and truth_of(cell.cause_tree, lifted) and self._shows(cell, one)

        return self._for(keeps_off, cell.on_delay_s + SEEN_S)

    def _faults(self, cell):
        for channel, name, _ in self._levels_in(cell):
            fact, tag = f"{channel.tag}.{name}", channel.tag
            rule = channel.levels_on_fault
            if rule is not LevelsOnFault.CLEAR and not self._fault_meets(tag, [fact], on=False):
                yield f"{cell.id}: no fault of {tag} while {fact} was off"
            levels = [f"{tag}.{one}" for one in channel.levels]
            if rule is not LevelsOnFault.TRIP and not self._fault_meets(tag, levels, on=True):
                yield f"{cell.id}: no fault of {tag} while a level of it was on"

    def _fault_meets(self, tag, levels, *, on):
        """Whether a fault came while one of the levels stood so."""
        return any(
            here.shown[f"{tag}.fault"]
            and not before.shown[f"{tag}.fault"]
            and any(before.shown[level] is on for level in levels)
            and not before.shown["panel.warm_up"]
            for before, here in pairwise(self.stretches)
        )

    # --- channels, outputs, supply, points ---------------------------------------------------

    def _channel(self, channel):
        apart = _distinct(sorted(self.settled[channel.tag]), channel.reading_tolerance)
        if apart < 3:
            yield f"{channel.tag}: settled at {apart} readings within its range, not at three"
        faults = [step for step in self.script.steps if getattr(step, "channel", "") == channel.tag]
        kinds = {(getattr(s, "drop_out", None), getattr(s, "on", None)) for s in faults}
        if (True, True) not in kinds:
            yield f"{channel.tag}: its detector never drops out"
        if (True, False) not in kinds:
            yield f"{channel.tag}: its detector never returns"

    def _output(self, output):
        if not output.mutable or not self.site.cells_of[output.tag]:
            return
        tag = output.tag
        if not self._for(lambda one: one.muted[tag], SEEN_S):
            yield f"{tag}: never muted while it acts"
        # With a single cell nothing can come anew: the mute ends with it, and the next one sounds.
        single = len(self.site.cells_of[tag]) == 1
        muted = False
        for before, here in pairwise(self.stretches):
            muted = before.muted[tag] or (single and muted)
            if muted and here.shown[f"{tag}.active"]:
                return
        yield f"{tag}: never sounds again after it was muted"

    def _power(self):
        if not self._for(lambda one: not one.power, SEEN_S):
            yield "the supply is never lost"
        elif not any(here.power and not before.power for before, here in pairwise(self.stretches)):
            yield "the supply never returns"

    def _points(self):
        for point in self.site.points:
            if point.type in NUMERIC or point.access == "w" or point.shows in ("spare", "constant"):
                continue
            if point.what == "state" and point.subject in self.site.channel_of:
                yield from self._states(point)
            elif point.type is not PointType.STRING:
                yield from self._bits(point)

    def _bits(self, point):
        for _, shows in point.facts():
            if shows not in self.stretches[0].shown:
                continue
            for value in (False, True):
                if not self._for(lambda t, v=value, s=shows: t.power and t.shown[s] is v, SEEN_S):
                    state = "on" if value else "off"
                    yield f"point {point.name}: {shows} never {state} for long enough"

    def _states(self, point):
        ranked = (
            "warm_up",
            "inhibit",
            "test",
            "calibration",
            "fault",
            "A3",
            "A2",
            "A1",
            "over_range",
        )
        named = [state for state in ranked if state in point.codes.values()]
        channel = self.site.channel_of[point.subject]

        def state_of(one):
            for state in named:
                fact = "panel.warm_up" if state == "warm_up" else f"{channel.tag}.{state}"
                if one.shown.get(fact):
                    return state
            return "normal"

        rising = any(
            level.direction is Direction.RISING and level.setpoint < channel.shown_limits[1]
            for level in channel.levels.values()
        )
        for state in (*named, "normal"):
            masked = state == "over_range" and rising
            if masked or state not in point.codes.values():
                continue
            if not self._for(lambda t, s=state: t.power and state_of(t) == s, SEEN_S):
                yield f"point {point.name}: never in the state {state}"


def _with_term(cause, term, facts):
    """The cause, were the term otherwise."""
    if cause == term:
        return not truth_of(term, facts)
    match cause:
        case Not(inner):
            return not _with_term(inner, term, facts)
        case AllOf(terms):
            return all(_with_term(one, term, facts) for one in terms)
        case AnyOf(terms):
            return any(_with_term(one, term, facts) for one in terms)
        case Vote(need, terms):
            return sum(_with_term(one, term, facts) for one in terms) >= need
        case _:
            return truth_of(cause, facts)


def _distinct(levels, apart):
    """How many of the sorted numbers lie further from each other than that."""
    count, last = 0, None
    for level in levels:
        if last is None or level - last > apart:
            count, last = count + 1, level
    return count
