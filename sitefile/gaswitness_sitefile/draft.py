"""A site file half read: each record by itself, so that checks can go on past bad ones."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Generic, TypeVar

from pydantic import BaseModel

from gaswitness_sitefile.addresses import pdu_address
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.columns import RawRecord, records
from gaswitness_sitefile.complaints import checked, shown
from gaswitness_sitefile.crossing import crossing_records, is_crossing
from gaswitness_sitefile.devices import DigitalInput, Output
from gaswitness_sitefile.document import Document
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.matrix import Cell
from gaswitness_sitefile.model import TAG_PATTERN
from gaswitness_sitefile.points import MapRules, Point, Table
from gaswitness_sitefile.problems import Loc, Place, Problem, near_match
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.source_file import SourceFile
from gaswitness_sitefile.tables import read_table

R = TypeVar("R", bound=BaseModel)

SECTIONS: Final[Mapping[str, type[BaseModel]]] = {
    "channels": Channel,
    "inputs": DigitalInput,
    "outputs": Output,
    "matrix": Cell,
    "points": Point,
}
"""The parts of a site file that may be tables of their own."""


@dataclass(frozen=True, slots=True)
class Section(Generic[R]):
    """`raw`: every entry found. `good`: the records that are valid, by their index in `raw`."""

    name: str
    raw: tuple[RawRecord, ...]
    good: Mapping[int, R]
    place: Place
    problems: tuple[Problem, ...] = ()
    source: SourceFile | None = None
    given: bool = True
    misnamed: bool = False

    @property
    def whole(self) -> bool:
        """Whether every entry could be read."""
        return not self.problems

    @property
    def tags_are_all(self) -> bool:
        """Whether these tags are all that the file means to have, so that others are unknown."""
        read = self.whole or bool(self.raw)
        tagged = (isinstance(one.data, dict) and one.data.get("tag") for one in self.raw)
        valid = all(isinstance(tag, str) and re.match(TAG_PATTERN, tag) for tag in tagged)
        return read and valid and not self.misnamed

    def names(self, key: str) -> list[str]:
        """What `key` says in every entry, valid or not."""
        values = (one.data.get(key) for one in self.raw if isinstance(one.data, dict))
        return [value for value in values if isinstance(value, str)]

    def at(self, index: int, *loc: str | int) -> Place:
        """The place of a part of an entry."""
        return self.raw[index].locate(loc)


@dataclass(frozen=True, slots=True)
class Draft:
    """All sections of a site file, each as far as it could be read."""

    channels: Section[Channel]
    inputs: Section[DigitalInput]
    outputs: Section[Output]
    matrix: Section[Cell]
    points: Section[Point]
    problems: tuple[Problem, ...] = field(default=())

    def sections(self) -> tuple[Section[Any], ...]:
        """The sections in the order of the file's model."""
        return self.channels, self.inputs, self.outputs, self.matrix, self.points


def read_draft(document: Document) -> Draft:
    """Read every section, its table too. Raises nothing: problems stand in the draft."""
    sections: dict[str, Section[Any]] = {
        name: _gathered(document, name, model)
        for name, model in SECTIONS.items()
        if name != "points"
    }
    points, problems = _addressed(document, _raw(document, "points", Point))
    sections["points"] = _validated(points, Point)
    return Draft(**sections, problems=tuple(problems))


def _gathered(document: Document, name: str, model: type[R]) -> Section[R]:
    return _validated(_raw(document, name, model), model)


def _validated(section: Section[R], model: type[R]) -> Section[R]:
    good: dict[int, R] = {}
    problems = list(section.problems)
    said = {problem.place for problem in problems}
    for index, raw in enumerate(section.raw):
        record, found = checked(model, raw.data, raw.locate)
        # A cell that was left out is not missing as well.
        problems += [problem for problem in found if problem.place not in said]
        if record is not None:
            good[index] = record
    return replace(section, good=good, problems=tuple(problems))


def _raw(document: Document, name: str, model: type[R]) -> Section[R]:
    place = document.place((name,))
    if name not in document.data:
        misnamed = any(
            near_match(str(key), (name,)) for key in document.data if key not in Site.model_fields
        )
        return Section(name, (), {}, place, given=False, misnamed=misnamed)
    found = document.data[name]
    if isinstance(found, list):
        raw = tuple(
            RawRecord(entry, _below(document, (name, at))) for at, entry in enumerate(found)
        )
        return Section(name, raw, {}, place)
    if isinstance(found, dict):
        return _from_file(document, name, model, found)
    what = f"{name} must be a list or a table, found {shown(found)}"
    remedy = f"begin each entry with '- ', or write {name}: {{file: {name}.csv}}"
    return Section(name, (), {}, place, (Problem(place, what, remedy),))


def _below(document: Document, base: Loc) -> Any:
    return lambda loc: document.place((*base, *loc))


def _from_file(
    document: Document, name: str, model: type[R], asked: Mapping[str, Any]
) -> Section[R]:
    place = document.place((name,))
    problems = []
    for key in asked:
        if key not in ("file", "sheet"):
            ask = (
                f"did you mean {near}?" if (near := near_match(str(key), ("file", "sheet"))) else ""
            )
            remedy = ask or f"write {name}: {{file: ..., sheet: ...}}, or a list with '- '"
            at = document.place((name, key))
            problems.append(Problem(at, f"{name}: {key} is not a known key", remedy))
    file, sheet = asked.get("file"), asked.get("sheet")
    if not isinstance(file, str) or not file:
        at = document.place((name, "file"))
        what = f"{name}: 'file' is missing" if file is None else f"{name}: 'file' must be text"
        problems.append(Problem(at, what, f"write {name}: {{file: {name}.csv}}"))
    if sheet is not None and not isinstance(sheet, str):
        at = document.place((name, "sheet"))
        what = f"{name}: 'sheet' must be text, found {shown(sheet)}"
        problems.append(Problem(at, what, f'write sheet: "{sheet}", in quotes'))
    if problems or not isinstance(file, str):
        return Section(name, (), {}, place, tuple(problems))
    at = document.place((name, "sheet" if "sheet" in asked else "file"))
    path = document.path.parent / Path(file.replace("\\", "/"))
    try:
        table = read_table(path, name=file, sheet=sheet, asked_at=at)
    except SiteFileError as error:
        return Section(name, (), {}, place, error.problems)
    crossed = name == "matrix" and is_crossing(table)
    raw, found = crossing_records(table) if crossed else records(table, model)
    return Section(name, tuple(raw), {}, place, (*table.problems, *found), table.source)


def _addressed(document: Document, section: Section[Point]) -> tuple[Section[Point], list[Problem]]:
    """The points with PDU addresses and the map's order, whatever the file's notation."""
    rules, problems = checked(MapRules, document.data.get("map", {}), _below(document, ("map",)))
    if rules is None:
        blind = tuple(
            replace(raw, data={**raw.data, "address": 0}) if isinstance(raw.data, dict) else raw
            for raw in section.raw
        )
        return replace(section, raw=blind), problems
    raws = []
    for index, raw in enumerate(section.raw):
        data = raw.data
        if isinstance(data, dict):
            data = {**data} if "order" in data else {**data, "order": rules.order}
            if data.get("address") is not None:
                written = document.parsed.written.get(("points", index, "address"), data["address"])
                try:
                    data["address"] = pdu_address(written, _table_of(data), rules.notation)
                except ValueError as error:
                    what, _, remedy = str(error).partition(": ")
                    who = data.get("name")
                    prefix = f"{who}: " if isinstance(who, str) and who else ""
                    problems.append(Problem(raw.locate(("address",)), prefix + what, remedy))
                    data["address"] = 0
        raws.append(replace(raw, data=data))
    return replace(section, raw=tuple(raws)), problems


def _table_of(data: Mapping[str, Any]) -> Table | None:
    found = data.get("table")
    return Table(found) if found in list(Table) else None
