"""What the record of a run says of a plan: its tests as they were played, who signed them, what was
noted beside. Kept in the evidence, and here for the run itself. Judges nothing.
"""

import mimetypes
from base64 import b64encode
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from gaswitness_scenarios.equipment import Equipment, Participant
from gaswitness_scenarios.plan_outcome import PlayedTest
from gaswitness_scenarios.script import PlannedTest, Step
from gaswitness_sitefile.errors import GaswitnessError

Keep = Callable[[str, Mapping[str, Any], float], None]
"""Takes an entry of the evidence: its kind, its body, its instant in seconds of the run."""

CATEGORIES: Final = ("A", "B", "C")
"""Of what is left to mend: before the plant runs, before it is handed over, when it suits (common
practice, no source)."""
LARGEST_FILE: Final = 32 * 1024 * 1024


class AttachmentError(GaswitnessError):
    """A file cannot be attached."""


class PlanNotes:
    """Notes of one run. `standing`: the steps done since the present test began. `under_way`: the
    step that was begun and may or may not have been done."""

    def __init__(self, keep: Keep) -> None:
        self._keep = keep
        self.tests: list[PlayedTest] = []
        self.standing: list[Step] = []
        self.under_way: Step | None = None
        self._open = False
        self._deviations = 0

    @property
    def going_on(self) -> PlayedTest | None:
        """The test that has begun and is not over."""
        return self.tests[-1] if self._open else None

    def attempts(self, test_id: str) -> int:
        """How often the test was begun so far."""
        return sum(test.id == test_id for test in self.tests)

    def take_up(self, tests: Sequence[PlayedTest], deviations: int, at_s: float) -> None:
        """Go on from what an earlier part of the run noted. A test that still went on is over."""
        self.tests = list(tests)
        self._deviations = deviations
        if tests and tests[-1].how == "broken off" and tests[-1].ended_s == tests[-1].begun_s:
            self._open = True
            self.over(at_s, "broken off", "the run broke off")

    def begun(self, step: PlannedTest, number: int, at_s: float) -> None:
        """A test begins; one that still went on is over, since the next one began."""
        self.over(at_s)
        attempt = self.attempts(step.id) + 1
        self.standing.clear()
        self.under_way = None
        self._note(step, number, attempt, at_s)
        self._open = True

    def left_out(self, step: PlannedTest, number: int, reason: str, at_s: float) -> None:
        """A test is not begun at all."""
        self.over(at_s)
        self._note(step, number, self.attempts(step.id) + 1, at_s)
        self._open = True
        self.over(at_s, "skipped", reason)

    def _note(self, step: PlannedTest, number: int, attempt: int, at_s: float) -> None:
        test = PlayedTest(step.id, step.title, attempt, step.proves, at_s, at_s, "broken off")
        self.tests.append(test)
        body = {
            "id": step.id,
            "title": step.title,
            "attempt": attempt,
            "proves": list(step.proves),
            "moves": list(step.moves),
            "first": number,
            "begun_s": at_s,
        }
        self._keep("test", body, at_s)

    def over(self, at_s: float, how: str = "done", reason: str = "") -> None:
        """The present test is over, if there is one."""
        if not self._open:
            return
        self._open = False
        test = replace(self.tests[-1], ended_s=at_s, how=how, reason=reason)
        self.tests[-1] = test
        body = {
            "id": test.id,
            "attempt": test.attempt,
            "ended_s": at_s,
            "how": how,
            "reason": reason,
        }
        self._keep("test_end", body, at_s)

    def at_rest(self, at_s: float) -> None:
        """What the last test left behind has been undone."""
        test_id = self.tests[-1].id if self.tests else ""
        self._keep("at_rest", {"id": test_id}, at_s)

    def judged_live(self, test: PlayedTest, outcome: str, because: str, at_s: float) -> None:
        """What the judge made of a test while the run went on."""
        body = {"id": test.id, "attempt": test.attempt, "live": outcome, "because": because}
        self._keep("test_live", body, at_s)

    def signed(
        self, test: PlayedTest, role: str, who: Participant, initials: str, *, at_s: float, utc: str
    ) -> None:
        """Somebody put initials to a test."""
        body = {
            "test": test.id,
            "attempt": test.attempt,
            "role": role,
            "name": who.name,
            "initials": initials,
            "at_utc": utc,
        }
        self._keep("initials", body, at_s)

    def equipment(self, equipment: Equipment, at_s: float) -> None:
        """Who takes part, and what with."""
        for role, who in equipment.people.items():
            body = {"role": role, "name": who.name, "initials": who.signs, "company": who.company}
            self._keep("people", body, at_s)
        for instrument in equipment.instruments:
            self._keep("instrument", instrument.model_dump(mode="json"), at_s)
        for gas in equipment.gases:
            body = gas.model_dump(mode="json")
            body["overridden"] = body.pop("override")
            self._keep("test_gas", body, at_s)

    def deviation(self, category: str, text: str, about: str, by: str, at_s: float) -> int:
        """Something that is not as it should be; its number on the punch list."""
        self._deviations += 1
        body = {
            "number": self._deviations,
            "category": category,
            "text": text,
            "about": about,
            "by": by,
        }
        self._keep("deviation", body, at_s)
        return self._deviations

    def attach(self, path: Path, words: str, about: str, at_s: float) -> str:
        """Keep a file whole; its SHA-256 in hex. Raises AttachmentError where it cannot be read."""
        try:
            size = path.stat().st_size
            content = path.read_bytes() if size <= LARGEST_FILE else b""
        except OSError as error:
            raise AttachmentError(f"{path}: cannot be read: {error.strerror}") from error
        if size > LARGEST_FILE:
            limit = LARGEST_FILE // 2**20
            raise AttachmentError(f"{path}: larger than {limit} MiB: attach a smaller copy")
        digest = sha256(content).hexdigest()
        body = {
            "name": path.name,
            "sha256": digest,
            "base64": b64encode(content).decode("ascii"),
            "media_type": mimetypes.guess_type(path.name)[0] or "application/octet-stream",
            "about": about,
            "words": words,
        }
        self._keep("attachment", body, at_s)
        return digest
