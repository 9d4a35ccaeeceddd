"""The equipment file of a witnessed test: people, instruments, calibration gas. Facts, and whether
a gas may still be used.
"""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from gaswitness_sitefile.document import read_document
from gaswitness_sitefile.errors import GaswitnessError, SiteFileError
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
    problems = [
        Problem(document.place(where), what, remedy)
        for where, what, remedy in _out(equipment, today)
    ]
    if problems:
        raise SiteFileError(problems)
    return equipment


def equipment_kept(
    people: Iterable[Mapping[str, Any]],
    instruments: Iterable[Mapping[str, Any]],
    gases: Iterable[Mapping[str, Any]],
    today: date,
) -> Equipment:
    """What a record says of it, from the bodies of its entries `people`, `instrument` and
    `test_gas`; of several with one role, the last.

    Raises GaswitnessError where something has expired since, unless the gas says why it is used.
    """
    roles = {
        one["role"]: {key: one[key] for key in ("name", "initials", "company")} for one in people
    }
    held = [
        {("override" if key == "overridden" else key): value for key, value in gas.items()}
        for gas in gases
    ]
    parts = {"instruments": _once(instruments), "gases": _once(held)}
    equipment = Equipment.model_validate({"gaswitness_equipment": 1, **roles, **parts})
    out = [f"{what}: {remedy}" for _, what, remedy in _out(equipment, today)]
    if out:
        raise GaswitnessError("\n".join((*out, "name what is used now with --equipment FILE")))
    return equipment


def _once(bodies: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    found: list[Mapping[str, Any]] = []
    for body in bodies:
        if body not in found:
            found.append(body)
    return found


def _out(equipment: Equipment, today: date) -> Iterator[tuple[tuple[str | int, ...], str, str]]:
    """What has expired: where it stands, what is wrong, what to do."""
    for at, gas in enumerate(equipment.gases):
        if gas.expires < today and not gas.override:
            what = f"the gas {gas.composition} expired on {gas.expires.isoformat()}"
            remedy = "take another cylinder, or write override: and the reason"
            yield ("gases", at, "expires"), what, remedy
    for at, instrument in enumerate(equipment.instruments):
        if instrument.due is not None and instrument.due < today:
            what = f"the certificate of {instrument.name} held until {instrument.due.isoformat()}"
            yield ("instruments", at, "due"), what, "take another instrument, or leave it out"
