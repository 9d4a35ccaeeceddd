"""From planned records to steps: tags, levels and facts checked against the site, gas followed from
step to step, words written for people.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from math import inf
from pathlib import Path
from typing import Any, Final

from gaswitness_scenarios import words
from gaswitness_scenarios.claim_names import ClaimNames
from gaswitness_scenarios.gas_level import gas_level
from gaswitness_scenarios.gas_profile import (
    ExponentialTo,
    Profile,
    RampTo,
    Recorded,
    StepTo,
    bounds,
    gas_after,
    travel_s,
)
from gaswitness_scenarios.gas_trace import read_trace
from gaswitness_scenarios.schedule import Planned
from gaswitness_scenarios.script import (
    Expect,
    Fault,
    Gas,
    Hold,
    Inhibit,
    Input,
    LinkCleared,
    LinkSpoilt,
    Look,
    PanelFault,
    PlannedTest,
    Power,
    Press,
    Say,
    Step,
)
from gaswitness_scenarios.script_air import AIR, air_steps, room_steps
from gaswitness_scenarios.script_bump import bump_steps, still_on
from gaswitness_scenarios.script_bus import LIVES, life_steps
from gaswitness_scenarios.script_file import (
    ExpectRecord,
    GasRecord,
    InputRecord,
    LookRecord,
    PlannedTestRecord,
    StepRecord,
)
from gaswitness_scenarios.script_panel import PANEL, panel_steps
from gaswitness_scenarios.site_facts import facts_of, mapped_of, readings_of
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.link_fault_text import parse_link_fault_kind
from gaswitness_sitefile.problems import Loc, Place, Problem, one_of
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.source_file import SourceFile

_ARRIVED: Final = 0.001
"""An exponential has arrived when this part of the channel's span is left."""

_FAULTS: Final = {
    "fault": (True, False),
    "fault_clear": (False, False),
    "drop_out": (True, True),
    "return_": (False, True),
}
"""Key of the step: on, drop-out."""


@dataclass(frozen=True, slots=True)
class _Present:
    since_s: float
    start: float
    profile: Profile


def _maker(
    record: StepRecord,
) -> Callable[["Builder", Planned, dict[str, Any]], Iterator[Step]] | None:
    """What makes the steps of a record whose keys another module knows."""
    keys = record.model_fields_set
    if LIVES & keys:
        return life_steps
    if PANEL & keys or (record.calibrate is not None and record.calibrate.for_s is not None):
        return panel_steps
    return air_steps if AIR & keys else None


@dataclass(slots=True)
class Builder:
    """Builds steps in order of time; collects problems, and the traces it read."""

    site: Site
    script_name: str
    folder: Path
    place: Callable[[Loc], Place]
    problems: list[Problem] = field(default_factory=list)
    traces: dict[str, tuple[Recorded, SourceFile] | None] = field(default_factory=dict)
    gas: dict[str, _Present] = field(default_factory=dict)
    ids: dict[str, int] = field(default_factory=dict)
    tests: set[str] = field(default_factory=set)
    claims: list[tuple[str, Loc]] = field(default_factory=list)
    adapters: dict[str, float] = field(default_factory=dict)
    facts: dict[str, None] = field(init=False)
    readings: dict[str, None] = field(init=False)
    mapped: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        self.facts = facts_of(self.site)
        self.readings = readings_of(self.site)
        self.mapped = mapped_of(self.site)

    def refuse(self, loc: Loc, what: str, remedy: str) -> None:
        self.problems.append(Problem(self.place(loc), what, remedy))

    def steps(self, planned: Planned) -> Iterator[Step]:
        """The steps of one record: one for each tag that it names."""
        record, loc = planned.record, planned.loc
        base: dict[str, Any] = {
            "at_s": planned.at_s,
            "place": self.place(loc),
            "said": record.say.strip(),
        }
        if record.test is not None:
            yield from self.test_step(record.test, (*loc, "test"), base)
        elif record.gas is not None:
            yield from self.gas_steps(record.gas, (*loc, "gas"), base)
        elif record.bump is not None:
            yield from bump_steps(self, planned, base)
        elif record.input is not None:
            yield from self.input_steps(record.input, (*loc, "input"), base)
        elif record.expect is not None:
            yield from self.expect_steps(record.expect, (*loc, "expect"), base)
        elif record.look is not None:
            yield from self.look_steps(record.look, (*loc, "look"), base)
        elif record.hold_s is not None:
            yield Hold(**base, words=f"Wait {words.number(record.hold_s)} s", hold_s=record.hold_s)
        elif record.press == "discover":
            yield from life_steps(self, planned, base)
        elif {"press", "power", "panel_fault"} & record.model_fields_set:
            yield self.panel_step(record, base)
        elif makes := _maker(record):
            yield from makes(self, planned, base)
        elif record.link_fault is not None or record.link_clear is not None:
            yield self.link_step(record, base)
        else:
            yield from self.channel_steps(planned, base)

    def test_step(
        self, record: PlannedTestRecord, loc: Loc, base: dict[str, Any]
    ) -> Iterator[Step]:
        if record.id in self.tests:
            what = f"the script has a test {record.id} already"
            self.refuse((*loc, "id"), what, "give each test an id of its own")
        self.tests.add(record.id)
        self.claims += [(one, (*loc, "proves", at)) for at, one in enumerate(record.proves)]
        moves = tuple(self.known(record.moves, (*loc, "moves"), self.site.output_of, "output"))
        yield PlannedTest(
            **base,
            words=f"Test {record.id}: {record.title}",
            id=record.id,
            title=record.title,
            proves=record.proves,
            moves=moves,
        )

    def check_claims(self) -> None:
        """Refuse claims that no run can come to. Expectations are known once all steps are built,
        and only where none was refused."""
        again = [f"{one} ({at})" for one, n in self.ids.items() for at in range(2, n + 1)]
        names = ClaimNames(self.site, self.facts, (*self.ids, *again))
        broken = bool(self.problems)
        for claim, loc in self.claims:
            if broken and claim.startswith("expectation/"):
                continue
            if found := names.wrong(claim):
                self.refuse(loc, *found)

    def panel_step(self, record: StepRecord, base: dict[str, Any]) -> Step:
        if record.press is not None and record.press != "discover":
            return Press(**base, words=f"Press {record.press} at the panel", key=record.press)
        if record.power is not None:
            return Power(**base, words=words.power_words(on=record.power), on=record.power)
        on = bool(record.panel_fault)
        return PanelFault(**base, words=words.panel_fault_words(on=on), on=on)

    def link_step(self, record: StepRecord, base: dict[str, Any]) -> Step:
        if record.link_fault is not None:
            fault = record.link_fault.fault
            return LinkSpoilt(**base, words=words.link_fault_words(fault), fault=fault)
        every = record.link_clear is None or record.link_clear == "all"
        kind = None if every else parse_link_fault_kind(str(record.link_clear))
        return LinkCleared(**base, words=words.link_clear_words(kind), kind=kind)

    def channel_steps(self, planned: Planned, base: dict[str, Any]) -> Iterator[Step]:
        record, loc = planned.record, planned.loc
        for key, (on, drop_out) in _FAULTS.items():
            for channel in self.channels(getattr(record, key), (*loc, key.rstrip("_"))):
                where = words.called(self.site, channel.tag)
                said = words.fault_words(where, on=on, drop_out=drop_out)
                yield Fault(**base, words=said, channel=channel.tag, on=on, drop_out=drop_out)
        for key, on in (("inhibit", True), ("uninhibit", False)):
            for channel in self.channels(getattr(record, key), (*loc, key)):
                said = words.inhibit_words(words.called(self.site, channel.tag), on=on)
                yield Inhibit(**base, words=said, channel=channel.tag, on=on)
        if record.model_fields_set <= {"say", "at_s", "after_s"}:
            yield Say(**base, words=base["said"])

    def channels(self, names: tuple[str, ...] | None, loc: Loc) -> list[Channel]:
        if names == ("all",):
            return list(self.site.channels)
        known = self.site.channel_of
        return [known[tag] for tag in self.known(names or (), loc, known, "channel")]

    def known(
        self, names: tuple[str, ...], loc: Loc, known: dict[str, Any], kind: str
    ) -> Iterator[str]:
        for at, tag in enumerate(names):
            if tag in known:
                yield tag
            elif "{" not in tag:
                self.refuse((*loc, at), f"the site has no {kind} '{tag}'", one_of(tag, known))

    def gas_steps(self, record: GasRecord, loc: Loc, base: dict[str, Any]) -> Iterator[Step]:
        if record.to == "room":
            yield from room_steps(self, record, loc, base)
            return
        for channel in self.channels(record.channel, (*loc, "channel")):
            profile = self.profile(record, channel, loc)
            if profile is None or still_on(self, channel, base["at_s"], (*loc, "channel")):
                continue
            start = self.present(channel, base["at_s"])
            self.gas[channel.tag] = _Present(base["at_s"], start, profile)
            lowest, highest = bounds(profile, start)
            where = words.called(self.site, channel.tag)
            yield Gas(
                **base,
                words=words.gas_words(channel, where, start, profile),
                channel=channel.tag,
                start=start,
                profile=profile,
                over_s=travel_s(profile, start, _ARRIVED * channel.span),
                lowest=lowest,
                highest=highest,
            )

    def gas_gone(self, tag: str) -> None:
        self.gas.pop(tag, None)

    def present(self, channel: Channel, at_s: float) -> float:
        found = self.gas.get(channel.tag)
        if found is None:
            return channel.clean_reading
        return gas_after(found.profile, found.start, at_s - found.since_s)

    def profile(self, record: GasRecord, channel: Channel, loc: Loc) -> Profile | None:
        if record.trace is not None:
            return self.trace(record.trace, channel, (*loc, "trace"))
        level = self.level(record.to or 0.0, channel, (*loc, "to"))
        if level is None:
            return None
        if record.over_s is not None:
            return RampTo(level, record.over_s)
        if record.tau_s is not None:
            return ExponentialTo(level, record.tau_s)
        return StepTo(level)

    def level(self, written: float | str, channel: Channel, loc: Loc) -> float | None:
        try:
            return gas_level(written, channel)
        except ValueError as error:
            what, _, remedy = str(error).partition(": ")
            self.refuse(loc, what, remedy)
            return None

    def trace(self, name: str, channel: Channel, loc: Loc) -> Recorded | None:
        if name not in self.traces:
            try:
                self.traces[name] = read_trace(self.folder / name, name, self.place(loc))
            except SiteFileError as error:
                self.problems += error.problems
                self.traces[name] = None
        found = self.traces[name]
        if found is None:
            return None
        for level in (min(found[0].levels), max(found[0].levels)):
            if self.level(level, channel, loc) is None:
                return None
        return found[0]

    def input_steps(self, record: InputRecord, loc: Loc, base: dict[str, Any]) -> Iterator[Step]:
        inputs = self.site.input_of
        names = tuple(inputs) if record.tag == ("all",) else record.tag
        for tag in self.known(names, (*loc, "tag"), inputs, "input"):
            where = words.called(self.site, tag)
            said = words.input_words(inputs[tag], where, on=record.active)
            yield Input(**base, words=said, tag=tag, on=record.active)

    def expect_steps(self, record: ExpectRecord, loc: Loc, base: dict[str, Any]) -> Iterator[Step]:
        fact, limits = record.fact, self.limits(record, loc)
        if not self.fact_stands(fact, (*loc, "fact"), reading=record.between is not None):
            return
        if fact not in self.mapped:
            self.refuse(
                (*loc, "fact"),
                f"no point of the map shows {fact}, so that it cannot be seen",
                "ask a person with 'look', or map it",
            )
            return
        if record.between is not None and limits is None:
            return
        shown = f"between {words.number(limits[0])} and {words.number(limits[1])}" if limits else ""
        state = shown or ("on" if record.is_ else "off")
        tail = f", and for {words.number(record.for_s)} s" if record.for_s else ""
        within = words.number(record.within_s)
        yield Expect(
            **base,
            words=f"Expected: {fact} is {state} within {within} s{tail}",
            id=self.own_id(record, base["place"]),
            fact=fact,
            within_s=record.within_s,
            value=record.is_,
            between=limits,
            for_s=record.for_s,
        )

    def own_id(self, record: ExpectRecord, place: Place) -> str:
        name = record.name or f"{self.script_name}:{place.line} {record.fact}"
        times = self.ids[name] = self.ids.get(name, 0) + 1
        return name if times == 1 else f"{name} ({times})"

    def limits(self, record: ExpectRecord, loc: Loc) -> tuple[float, float] | None:
        channel = self.site.channel_of.get(record.fact.partition(".")[0])
        if record.between is None or channel is None:
            return None
        here = (*loc, "between")
        low, high = (self.bound(one, channel, (*here, at)) for at, one in enumerate(record.between))
        if low is None or high is None:
            return None
        if low > high:
            self.refuse(
                here, f"between goes from {low:g} down to {high:g}", "write the lower first"
            )
            return None
        return low, high

    def bound(self, written: float | str, channel: Channel, loc: Loc) -> float | None:
        """A bound of a reading: as gas, but a number may lie below zero, where no gas can."""
        if not isinstance(written, str) and -inf < written < 0:
            return written
        return self.level(written, channel, loc)

    def look_steps(self, record: LookRecord, loc: Loc, base: dict[str, Any]) -> Iterator[Step]:
        if self.fact_stands(record.fact, (*loc, "fact"), reading=False):
            ask = " ".join(record.ask.split())
            yield Look(**base, words=f"Look: {ask}", fact=record.fact, question=ask)

    def fact_stands(self, fact: str, loc: Loc, *, reading: bool) -> bool:
        if "{" in fact:
            return False
        if reading and fact in self.facts:
            self.refuse(loc, f"{fact} is on or off, not a number", "write 'is: on' or 'is: off'")
        elif not reading and fact in self.readings:
            self.refuse(loc, f"{fact} is a number, not on or off", "write 'between: [LOW, HIGH]'")
        elif fact not in (self.readings if reading else self.facts):
            known = self.readings if reading else self.facts
            subject = fact.partition(".")[0]
            own = [one for one in known if one.partition(".")[0] == subject]
            self.refuse(loc, f"the site has no fact '{fact}'", one_of(fact, own or known))
        else:
            return True
        return False
