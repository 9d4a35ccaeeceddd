"""The people at a test of a plan: told what comes and what it moves, they begin it, leave it out,
do it again, note what is amiss, attach files, and sign. Words and keys alone.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.attendance import Remark
from gaswitness_scenarios.driver import StoppedError
from gaswitness_scenarios.equipment import Equipment, Participant
from gaswitness_scenarios.person import Person
from gaswitness_scenarios.plan_notes import CATEGORIES, AttachmentError, PlanNotes
from gaswitness_scenarios.plan_outcome import PlanOutcome
from gaswitness_scenarios.script import Gas, PlannedPart
from gaswitness_scenarios.words import called, number
from gaswitness_sitefile.channel import Channel, Unit
from gaswitness_sitefile.devices import OutputKind
from gaswitness_sitefile.gases import is_oxygen
from gaswitness_sitefile.site import Site

RULE: Final = "-" * 72
MOST_FAILED: Final = 5
WHOLE_LEL: Final = 100.0
"""%LEL: from here on the gas burns in air, by the meaning of the limit (IEC 60079-29-1, from
memory)."""
BURNS: Final = (
    "so much of it in air burns or explodes once lit. Use a mixture that cannot burn, or simulate "
    "the signal; else leave the step out."
)
ENRICHED_PERCENT: Final = 23.5
"""%vol of oxygen from which air counts as enriched (29 CFR 1910.146, from memory)."""
FEEDS_FIRE: Final = (
    "in so much oxygen things burn fiercely: no oil, grease, flame or spark near it, and air the "
    "place and your clothes after."
)
KEYS_BEFORE: Final = (
    "Enter         begin the test",
    "s REASON      leave it out",
)
KEYS_AFTER: Final = ("r             do the test again",)
KEYS_ALWAYS: Final = (
    "n WORDS       a note in the record",
    "d A WORDS     a deviation for the punch list: A before the plant runs, B before it is",
    "              handed over, C when it suits",
    "a FILE WORDS  keep a file in the record: a photograph, a certificate",
    "q             stop the run; --resume goes on with it",
)

_MOVES: Final = {
    OutputKind.VALVE: "a valve moves, and what it feeds may stop: agree with those who run it",
    OutputKind.FAN: "a fan starts or stops: keep hands, clothes and dust clear, warn who is near",
    OutputKind.RELAY: "what this relay stops or starts must be isolated, or agreed to move",
    OutputKind.SOUNDER: "warn those who hear it; wear hearing protection near it",
    OutputKind.BEACON: "warn those who see it",
}


class PeopleAttending:
    """Attendance by the people at the terminal. `utc` tells the date and time, ISO 8601."""

    judges_live = True

    def __init__(
        self,
        person: Person,
        site: Site,
        equipment: Equipment,
        now: Callable[[], float],
        utc: Callable[[], str],
    ) -> None:
        self._person = person
        self._site = site
        self._equipment = equipment
        self._now = now
        self._utc = utc
        self._notes: PlanNotes | None = None
        self._remark: Remark | None = None

    def write_to(self, notes: PlanNotes, remark: Remark) -> None:
        """Where what people say is kept. Before anything else."""
        self._notes = notes
        self._remark = remark

    async def before(self, part: PlannedPart, number: int, of: int) -> str:
        test = part.test
        show = self._person.show
        show(f"\n{RULE}\nTest {test.id} ({number} of {of}): {test.title}")
        if test.said:
            show(f"  {test.said}")
        minutes = max(1, round(part.length_s / 60))
        show(f"  Takes about {minutes} min.")
        for line in (*self.gases(part), *self.movements(part)):
            show(f"  {line}")
        while True:
            given = await self._asked("  [Enter = begin, ? = more keys] ", test.id)
            word, _, rest = given.partition(" ")
            if not given:
                return ""
            if given == "?":
                self._show_keys(KEYS_BEFORE)
                continue
            if word.lower() == "s":
                return rest.strip() or await self._reason()
            await self._noted(given, test.id)

    def gases(self, part: PlannedPart) -> list[str]:
        """What gas the test takes, and from which cylinder."""
        highest: dict[str, Gas] = {}
        for step in part.steps:
            if not isinstance(step, Gas):
                continue
            clean = self._site.channel_of[step.channel].clean_reading
            far = abs(step.level - clean)
            held = highest.get(step.channel)
            if far and (held is None or far > abs(held.level - clean)):
                highest[step.channel] = step
        lines = []
        for tag, step in highest.items():
            channel = self._site.channel_of[tag]
            where = called(self._site, tag)
            lines.append(f"Gas: {channel.gas} to {number(step.level)} {channel.unit} at {where}")
            lines += [f"  Beware: {words}" for words in _fire(channel, step.level)]
            cylinders = self._equipment.gases_for(channel.gas)
            if not cylinders and self._equipment.gases:
                lines.append("  no cylinder of it is on the equipment list")
            for gas in cylinders:
                named = f"cylinder {gas.cylinder}, " if gas.cylinder else ""
                lines.append(
                    f"  {named}{gas.composition}, certificate {gas.certificate or '-'}, "
                    f"expires {gas.expires.isoformat()}"
                )
        return lines

    def movements(self, part: PlannedPart) -> list[str]:
        """What will move, and what to have in place before."""
        lines = []
        outputs = [self._site.output_of[tag] for tag in part.test.moves]
        for output in outputs:
            safe = ", fail-safe" if output.normally_energised else ""
            where = called(self._site, output.tag)
            lines.append(f"Will move: {where}, {output.kind}{safe}: {_MOVES[output.kind]}")
        if outputs:
            lines.append(
                "Before you begin: isolations and permits in place, and everyone told whom this "
                "may reach. Local codes and licensed practice come first."
            )
        return lines

    async def after(self, part: PlannedPart, outcome: PlanOutcome | None) -> bool:
        notes = self._told[0]
        test = notes.tests[-1]
        self._say_outcome(outcome)
        signers = self._equipment.people
        doubted: list[str] = []
        while True:
            given = await self._asked(self._prompt_after(signers), part.test.id)
            word, _, rest = given.partition(" ")
            if word.lower() == "r" and not rest:
                return True
            if given == "?":
                self._show_keys(("initials      sign the test and go on", *KEYS_AFTER))
                continue
            if await self._noted(given, part.test.id, quiet=True):
                continue
            marks = given.upper().split()
            if not given and signers:
                if await self._unsigned():
                    self._told[1](f"test {test.id} was not signed", self._now(), "", test.id)
                    return False
            elif len(marks) == len(signers):
                if marks != doubted and (others := _others(signers, marks)):
                    # Words that happen to be as many as the signers are no signature.
                    self._person.show(f"  {others}: the same once more signs with it.")
                    doubted = marks
                    continue
                for (role, who), mark in zip(signers.items(), marks, strict=True):
                    notes.signed(test, role, who, mark, at_s=self._now(), utc=self._utc())
                return False
            else:
                self._person.show(f"  {given!r}: {_wanted(signers)}")

    def _prompt_after(self, signers: Mapping[str, Participant]) -> str:
        if not signers:
            return "  [Enter = go on, r = again, ? = more keys] "
        return f"  [initials of {_wanted(signers)} = sign, r = again, ? = more] "

    def _show_keys(self, own: tuple[str, ...]) -> None:
        for line in (*own, *KEYS_ALWAYS):
            self._person.show(f"    {line}")

    async def _unsigned(self) -> bool:
        self._person.show("  Nobody signed. Enter once more goes on without initials.")
        return not await self._asked("  [Enter = go on unsigned, anything else = back] ", "")

    def _say_outcome(self, outcome: PlanOutcome | None) -> None:
        show = self._person.show
        if outcome is None:
            show("  The test was left; it counts as not run.")
            return
        proven = sum(claim.outcome is Outcome.PROVEN for claim in outcome.claims)
        words = str(outcome.outcome).replace("_", " ")
        show(f"\n  So far {words}: {proven} of {len(outcome.claims)} claims are proven.")
        telling = [
            one for one in (*outcome.claims, *outcome.beside) if one.outcome is not Outcome.PROVEN
        ]
        for one in telling[:MOST_FAILED]:
            said = str(one.outcome).replace("_", " ")
            show(f"    {said}: {one.claim}: {one.because}")
        if len(telling) > MOST_FAILED:
            show(f"    and {len(telling) - MOST_FAILED} more")
        show(
            "  Reported by the panel, unless a person looked. The run's end judges all of it again."
        )

    @property
    def _told(self) -> tuple[PlanNotes, Remark]:
        if self._notes is None or self._remark is None:
            raise RuntimeError("nobody keeps what is noted")
        return self._notes, self._remark

    async def _noted(self, given: str, about: str, *, quiet: bool = False) -> bool:
        """Note, deviation or attachment: whether it was one. Says so where it was none of them,
        unless told to be quiet."""
        notes, remark = self._told
        word, _, rest = given.partition(" ")
        rest = rest.strip()
        match word.lower():
            case "n" if rest:
                remark(rest, self._now(), self._by, about)
            case "d" if rest:
                category, _, text = rest.partition(" ")
                if category.upper() not in CATEGORIES or not text.strip():
                    self._person.show("  Write d, the category A, B or C, and what is amiss.")
                    return True
                made = notes.deviation(category.upper(), text.strip(), about, self._by, self._now())
                self._person.show(f"  Deviation {made} is on the punch list.")
            case "a" if rest:
                self._attach(notes, rest, about)
            case _:
                if not quiet:
                    self._person.show(f"  {given!r} is none of the keys; ? tells them.")
                return False
        return True

    def _attach(self, notes: PlanNotes, rest: str, about: str) -> None:
        name, _, words = rest.partition(" ")
        if rest[0] in "\"'" and rest.count(rest[0]) > 1:
            name, _, words = rest[1:].partition(rest[0])
        try:
            digest = notes.attach(Path(name).expanduser(), words.strip(), about, self._now())
        except AttachmentError as error:
            self._person.show(f"  {error}")
            return
        self._person.show(f"  {Path(name).name} is kept in the record, SHA-256 {digest[:16]}...")

    @property
    def _by(self) -> str:
        who = self._equipment.tester
        return "" if who is None else who.name

    async def _asked(self, prompt: str, about: str) -> str:
        given = await self._person.answer(prompt)
        if given is None:
            raise StoppedError("the input ended" + (f" at test {about}" if about else ""))
        word, _, rest = given.partition(" ")
        if word.lower() == "q":
            why = f": {rest.strip()}" if rest.strip() else ""
            raise StoppedError(f"stopped by the person at test {about}{why}")
        return given

    async def _reason(self) -> str:
        while not (reason := await self._asked("  why is it left out? ", "")):
            pass
        return reason


def _fire(channel: Channel, level: float) -> Iterator[str]:
    """What such a test gas has to do with fire, in words."""
    if channel.unit is Unit.LEL and level >= WHOLE_LEL:
        yield BURNS
    if is_oxygen(channel.gas) and channel.unit is Unit.VOL and level > ENRICHED_PERCENT:
        yield FEEDS_FIRE


def _others(signers: Mapping[str, Participant], marks: Sequence[str]) -> str:
    """Which marks are not the initials of those who sign, in words; empty where all are."""
    return ", ".join(
        f"{mark} is not {who.signs.upper()}, the initials of {who.name}"
        for who, mark in zip(signers.values(), marks, strict=True)
        if mark != who.signs.upper()
    )


def _wanted(signers: Mapping[str, Participant]) -> str:
    return " and ".join(f"{role} ({who.signs})" for role, who in signers.items())
