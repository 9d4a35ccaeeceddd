"""The records of a script file, as YAML has them. What they come to is another module's affair."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, Field, GetJsonSchemaHandler, model_validator

from gaswitness_scenarios.bump_record import BumpRecord
from gaswitness_scenarios.bus_record import BusRecord
from gaswitness_scenarios.on_off import OnOff
from gaswitness_scenarios.panel_record import CalibrateRecord, OutputTestRecord
from gaswitness_scenarios.short_forms import with_short_forms
from gaswitness_scenarios.tags_and_levels import Level, MaybeNames, Name, Names, not_empty
from gaswitness_sitefile.link_fault import LinkFault
from gaswitness_sitefile.link_fault_text import parse_link_fault, parse_link_fault_kind
from gaswitness_sitefile.model import Number, PositiveSeconds, Record, Seconds, Whole

_NotEmpty = (AfterValidator(not_empty), Field(json_schema_extra={"minItems": 1}))


class GasRecord(Record):
    """Gas at detectors. `channel`: a tag, a list of tags, or `all`.

    `to` is where it goes: a number in the channel's unit, or words such as `clean`, `A1*1.05`,
    `past A2`, `50 % of range`; `room` takes the gas away from a detector that stands in a room. At
    once; over `over_s` in a straight line; or nearing it with time constant `tau_s`. Or, in place
    of `to`, `trace` names a CSV file with columns time_s, level.
    """

    channel: Names
    to: Level | None = None
    over_s: PositiveSeconds | None = None
    tau_s: PositiveSeconds | None = None
    trace: Name | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        if (self.to is None) == (self.trace is None):
            raise ValueError("gas needs either 'to' or 'trace': write one of the two")
        given = [self.over_s, self.tau_s, self.trace]
        if sum(one is not None for one in given) > 1:
            raise ValueError("over_s, tau_s and trace exclude each other: keep one of them")
        if self.to == "room" and (self.over_s is not None or self.tau_s is not None):
            raise ValueError("a room's air comes at once: take over_s and tau_s out")
        return self


class LeakRecord(Record):
    """Gas leaks into a room; `flow_m3_h: 0` stops it."""

    room: Name
    gas: Name
    flow_m3_h: Seconds


class PurgeRecord(Record):
    """Fresh air blown through a room; `flow_m3_h: 0` stops it."""

    room: Name
    flow_m3_h: Seconds


class DriftRecord(Record):
    """A sensor that ages: over `over_s` its errors go to `zero`, in the channel's unit, and its
    span to `span_percent` of a good one's (a poisoned sensor: 40, a dead one: 0)."""

    channel: Names
    zero: Number | None = None
    span_percent: Seconds | None = None
    over_s: PositiveSeconds | None = None

    @model_validator(mode="after")
    def _one_at_least(self) -> Self:
        if self.zero is None and self.span_percent is None:
            raise ValueError("drift changes nothing: write zero: or span_percent:")
        return self


class LoopRecord(Record):
    """The current of a 4-20 mA loop forced to `current_ma`; left out, the detector's own again."""

    channel: Names
    current_ma: Annotated[float, Field(ge=0, le=30)] | None = None


class InputRecord(Record):
    """A digital input and the state it is put in."""

    tag: Names
    active: OnOff


class ExpectRecord(Record):
    """What the author expects: `fact` `is` on or off, or a reading lies `between` two numbers.

    It must come within `within_s`, and then stay so for `for_s`.
    """

    fact: Name
    is_: Annotated[OnOff | None, Field(alias="is", default=None)]
    between: Annotated[tuple[Level, Level] | None, Field(default=None)]
    within_s: Seconds
    for_s: Seconds = 0.0
    name: str = ""

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        if (self.is_ is None) == (self.between is None):
            raise ValueError("expect needs either 'is' or 'between': write one of the two")
        return self


class LookRecord(Record):
    """What a person is asked to look at or listen to, and the fact that a yes means."""

    fact: Name
    ask: Name


class LinkFaultRecord(Record):
    """A fault of the link from now on. `kind`: its kind and values, such as `late 0.2..1.5 s`.

    Whom it meets: `unit`, `connection`, `function`. How long and how often: `for_s`, `times`,
    `percent`, `every`. Or all on one line: `late 0.2..1.5 s, 5 %, unit 1`.
    """

    kind: Name
    unit: Whole | None = None
    connection: Whole | None = None
    function: Whole | None = None
    percent: PositiveSeconds | None = None
    every: Whole | None = None
    times: Whole | None = None
    for_s: PositiveSeconds | None = None

    @model_validator(mode="before")
    @classmethod
    def _on_one_line(cls, written: Any) -> Any:
        return {"kind": written} if isinstance(written, str) else written

    @model_validator(mode="after")
    def _reads(self) -> Self:
        parse_link_fault(self.text)
        return self

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core_schema: Any, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return with_short_forms(core_schema, handler, {"type": "string", "minLength": 1})

    @property
    def text(self) -> str:
        """All of it on one line."""
        forms = (
            ("unit {}", self.unit),
            ("connection {}", self.connection),
            ("function {}", self.function),
            ("{:.10g} %", self.percent),
            ("every {}", self.every),
            ("{} times", self.times),
            ("for {:.10g} s", self.for_s),
        )
        given = [form.format(value) for form, value in forms if value is not None]
        return ", ".join((self.kind, *given))

    @property
    def fault(self) -> LinkFault:
        """The fault."""
        return parse_link_fault(self.text)


def _clearable(written: str) -> str:
    if written != "all":
        parse_link_fault_kind(written)
    return written


Clearable = Annotated[Name, AfterValidator(_clearable)]
"""`all`, or the kind of link fault that ends."""


class ForEachRecord(Record):
    """Steps done for each of several tags. In the steps `{channel}` stands for the tag.

    Give one of `channel`, `input` or `output`: tags, or `all`. One after the other, or, with
    `together`, each step for all of them before the next. Times within count from the round's
    begin.
    """

    channel: Names | None = None
    input: Names | None = None
    output: Names | None = None
    together: OnOff = False
    steps: Annotated[tuple["StepRecord", ...], *_NotEmpty]

    @model_validator(mode="after")
    def _one_kind_of_tag(self) -> Self:
        if sum(one is not None for one in (self.channel, self.input, self.output)) != 1:
            raise ValueError(
                "for_each goes over one kind of tags: write channel, input or output, one of them"
            )
        return self


class PlannedTestRecord(Record):
    """A test of a plan begins; all steps up to the next `test` belong to it.

    `id`: its own in the script. `proves`: what it shows, each a verdict's id or
    `VERDICT: ASPECT`, such as `cell/AT-101.A2 > K3: rises`. `moves`: outputs that will move.
    """

    id: Name
    title: Name
    proves: MaybeNames = ()
    moves: MaybeNames = ()


ACTIONS = (
    "gas",
    "test",
    "bump",
    "hold_s",
    "fault",
    "fault_clear",
    "drop_out",
    "return",
    "inhibit",
    "uninhibit",
    "input",
    "press",
    "power",
    "panel_fault",
    "output_test",
    "test_mode",
    "end_test_mode",
    "expect",
    "look",
    "link_fault",
    "link_clear",
    "leak",
    "purge",
    "drift",
    "calibrate",
    "loop",
    "bus",
    "mains",
    "watchdog",
    "for_each",
)


class StepRecord(Record):
    """One step: one action, or only words (`say`).

    It comes at `at_s` after the begin of the script (or of the round), or `after_s` after the step
    before it; left out, right after it. Only `hold_s` lets time pass: gas that takes its time is
    on its way while the next steps go on, and an adapter comes off when its time is over.
    """

    at_s: Seconds | None = None
    after_s: Seconds | None = None
    say: str = ""
    test: PlannedTestRecord | None = None
    gas: GasRecord | None = None
    bump: BumpRecord | None = None
    hold_s: PositiveSeconds | None = None
    fault: Names | None = None
    fault_clear: Names | None = None
    drop_out: Names | None = None
    return_: Annotated[Names | None, Field(alias="return", default=None)]
    inhibit: Names | None = None
    uninhibit: Names | None = None
    input: InputRecord | None = None
    press: Literal["reset", "accept", "mute", "discover"] | None = None
    power: OnOff | None = None
    panel_fault: OnOff | None = None
    output_test: OutputTestRecord | None = None
    test_mode: Names | None = None
    end_test_mode: Names | None = None
    expect: ExpectRecord | None = None
    look: LookRecord | None = None
    link_fault: LinkFaultRecord | None = None
    link_clear: Clearable | None = None
    leak: LeakRecord | None = None
    purge: PurgeRecord | None = None
    drift: DriftRecord | None = None
    calibrate: CalibrateRecord | None = None
    loop: LoopRecord | None = None
    bus: BusRecord | None = None
    mains: OnOff | None = None
    watchdog: Literal["restart"] | None = None
    for_each: ForEachRecord | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_action(cls, written: Any) -> Any:
        if not isinstance(written, Mapping):
            return written
        if "at_s" in written and "after_s" in written:
            raise ValueError("at_s and after_s exclude each other: keep one of them")
        found = [key for key in written if key in ACTIONS]
        if len(found) > 1:
            raise ValueError(
                f"one step does {' and '.join(found)}: write a step of its own for each"
            )
        unknown = written.keys() - {"at_s", "after_s", "say", *ACTIONS}
        if not found and not written.get("say") and not unknown:
            raise ValueError(f"the step does nothing: write one of say, {', '.join(ACTIONS)}")
        return written


class ScriptRecord(Record):
    """A script file. `text` is for people: what it shows, and why."""

    gaswitness_script: Literal[1]
    title: Name
    text: str = ""
    steps: Annotated[tuple[StepRecord, ...], *_NotEmpty]
