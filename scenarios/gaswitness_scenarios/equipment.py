"""The equipment file of a witnessed test: people, instruments, calibration gas. Facts, and whether
a gas may still be used.
"""

from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from gaswitness_sitefile.document import read_document
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.model import Record
from gaswitness_sitefile.problems import Problem

Text = Annotated[str, Field(min_length=1)]
ROLES = ("tester", "witness")


class Participant(Record):
    """Somebody who takes part. `initials`: as they are signed with; left out, from the name."""

    name: Text
    initials: str = ""
    company: str = ""

    @property
    def signs(self) -> str:
        """The initials."""
        return self.initials or "".join(word[0].upper() for word in self.name.split())


class Instrument(Record):
    """What is measured or pressed with. `due`: until when its certificate holds."""

    name: Text
    maker_number: str = ""
    certificate: str = ""
    due: date | None = None


class TestGas(Record):
    """A cylinder. `gas`: as the channels write it. `expires`: the last day on which it may be used;
    `override`: why it is used all the same."""

    __test__ = False

    gas: Text
    composition: Text
    cylinder: str = ""
    certificate: str = ""
    expires: date
    override: str = ""


class Equipment(Record):
    """All of an equipment file."""

    gaswitness_equipment: Literal[1]
    tester: Participant | None = None
    witness: Participant | None = None
    instruments: tuple[Instrument, ...] = ()
    gases: tuple[TestGas, ...] = ()

    @property
    def people(self) -> dict[str, Participant]:
        """Who takes part, by role."""
        both = {"tester": self.tester, "witness": self.witness}
        return {role: one for role, one in both.items() if one is not None}

    def gases_for(self, gas: str) -> tuple[TestGas, ...]:
        """The cylinders of a gas."""
        return tuple(one for one in self.gases if one.gas == gas)


def load_equipment(path: Path, today: date) -> Equipment:
    """Read an equipment file.

    Raises SiteFileError with all problems: what is no such file, a gas that has expired, or an
    instrument whose certificate has, unless the gas says why it is used all the same.
    """
    document = read_document(path, "equipment file")
    equipment = document.validated(Equipment)
    problems = []
    for at, gas in enumerate(equipment.gases):
        if gas.expires < today and not gas.override:
            place = document.place(("gases", at, "expires"))
            what = f"the gas {gas.composition} expired on {gas.expires.isoformat()}"
            problems.append(
                Problem(place, what, "take another cylinder, or write override: and the reason")
            )
    for at, instrument in enumerate(equipment.instruments):
        if instrument.due is not None and instrument.due < today:
            place = document.place(("instruments", at, "due"))
            what = f"the certificate of {instrument.name} held until {instrument.due.isoformat()}"
            problems.append(Problem(place, what, "take another instrument, or leave it out"))
    if problems:
        raise SiteFileError(problems)
    return equipment
