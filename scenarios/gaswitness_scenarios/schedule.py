"""When each step of a script file comes: loops unrolled, placeholders filled, times made absolute.

Knows no channel's meaning; what a step does is looked at elsewhere.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gaswitness_scenarios.script_file import ForEachRecord, ScriptRecord, StepRecord
from gaswitness_sitefile.problems import Loc, Place, Problem, one_of
from gaswitness_sitefile.site import Site

MOST_STEPS = 200_000
_PLACEHOLDER = re.compile(r"\{([A-Za-z_]+)\}")
Filling = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Planned:
    """One step at its absolute time; `loc` is its path in the script file. `ends`: it is what comes
    when the step's own time is over."""

    at_s: float
    record: StepRecord
    loc: Loc
    ends: bool = False


@dataclass(slots=True)
class Scheduler:
    """Collects planned steps, and problems."""

    site: Site
    place: Callable[[Loc], Place]
    planned: list[Planned] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def run(self, script: ScriptRecord) -> list[Planned]:
        """All steps in order of time; those of equal time as the script has them."""
        self.steps(script.steps, ("steps",), [{}], 0.0)
        if len(self.planned) > MOST_STEPS:
            self.refuse(("steps",), f"the loops unroll to more than {MOST_STEPS} steps", "")
        return sorted(self.planned, key=lambda one: one.at_s)

    def refuse(self, loc: Loc, what: str, remedy: str) -> None:
        self.problems.append(Problem(self.place(loc), what, remedy))

    def steps(
        self, records: tuple[StepRecord, ...], loc: Loc, fillings: list[Filling], base_s: float
    ) -> float:
        """Plan the steps for all fillings at once, from `base_s` on; when they are over."""
        now_s = base_s
        for at, record in enumerate(records):
            if len(self.planned) > MOST_STEPS:
                break
            here = (*loc, at)
            begin_s = self.begin(record, here, now_s, base_s)
            since = len(self.planned)
            now_s = max(self.step(record, here, filling, begin_s, since) for filling in fillings)
        return now_s

    def begin(self, record: StepRecord, loc: Loc, now_s: float, base_s: float) -> float:
        if record.at_s is None:
            return round(now_s + (record.after_s or 0.0), 6)
        begin_s = round(base_s + record.at_s, 6)
        if begin_s < now_s:
            least = round(now_s - base_s, 6)
            self.refuse(
                (*loc, "at_s"),
                f"at_s {record.at_s:g} goes back in time: the steps above end at {least:g} s",
                f"write at_s: {least:g} or later, or after_s",
            )
            return now_s
        return begin_s

    def step(
        self, record: StepRecord, loc: Loc, filling: Filling, begin_s: float, since: int
    ) -> float:
        if record.for_each is not None:
            return self.loop(record, record.for_each, loc, filling, begin_s)
        planned = Planned(begin_s, self.filled(record, loc, filling), loc)
        # Without a placeholder in it, a step of several channels together is one step.
        if planned not in self.planned[since:]:
            self.planned.append(planned)
            if planned.record.bump is not None:
                off_s = round(begin_s + planned.record.bump.over_s, 6)
                self.planned.append(Planned(off_s, planned.record, loc, ends=True))
        return round(begin_s + (record.hold_s or 0.0), 6)

    def loop(
        self, record: StepRecord, loop: ForEachRecord, loc: Loc, filling: Filling, begin_s: float
    ) -> float:
        if record.say:
            said = StepRecord.model_validate({"say": record.say})
            self.step(said, loc, filling, begin_s, len(self.planned))
        here = (*loc, "for_each")
        kind, tags = self.tags(loop, here, filling)
        inner: list[Filling] = [{**filling, kind: tag} for tag in tags]
        if loop.together:
            return self.steps(loop.steps, (*here, "steps"), inner, begin_s) if inner else begin_s
        for one in inner:
            begin_s = self.steps(loop.steps, (*here, "steps"), [one], begin_s)
        return begin_s

    def tags(self, loop: ForEachRecord, loc: Loc, filling: Filling) -> tuple[str, list[str]]:
        known: Mapping[str, Any]
        if loop.channel is not None:
            kind, written, known = "channel", loop.channel, self.site.channel_of
        elif loop.input is not None:
            kind, written, known = "input", loop.input, self.site.input_of
        else:
            kind, written, known = "output", loop.output or (), self.site.output_of
        if written == ("all",):
            return kind, list(known)
        tags = [self.text(one, (*loc, kind, at), filling) for at, one in enumerate(written)]
        for at, tag in enumerate(tags):
            if tag not in known:
                self.refuse((*loc, kind, at), f"the site has no {kind} '{tag}'", one_of(tag, known))
        return kind, [tag for tag in tags if tag in known]

    def filled(self, record: StepRecord, loc: Loc, filling: Filling) -> StepRecord:
        data = record.model_dump(by_alias=True, exclude_unset=True)
        changed = self.value(data, loc, filling)
        return record if changed == data else StepRecord.model_validate(changed)

    def value(self, value: Any, loc: Loc, filling: Filling) -> Any:
        if isinstance(value, str):
            return self.text(value, loc, filling)
        if isinstance(value, dict):
            return {key: self.value(one, (*loc, key), filling) for key, one in value.items()}
        if isinstance(value, list | tuple):
            return tuple(self.value(one, (*loc, at), filling) for at, one in enumerate(value))
        return value

    def text(self, text: str, loc: Loc, filling: Filling) -> str:
        for name in _PLACEHOLDER.findall(text):
            if name not in filling:
                known = [f"{{{one}}}" for one in filling]
                remedy = one_of(f"{{{name}}}", known) if known else "it has a meaning in for_each"
                self.refuse(loc, f"nothing here stands for {{{name}}}", remedy)
        return _PLACEHOLDER.sub(lambda found: filling.get(found[1], found[0]), text)
