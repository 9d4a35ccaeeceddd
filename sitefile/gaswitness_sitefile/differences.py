"""What differs between two site files, part by part, whatever parts the model has.

Walks the records field by field, so that a field added to the model is compared without a word
here. How a difference is worded is another module's affair. Judges nothing: no side is right.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from pydantic import BaseModel

from gaswitness_sitefile import difference_words as words
from gaswitness_sitefile.difference_words import Scope
from gaswitness_sitefile.in_force import in_force
from gaswitness_sitefile.matrix import AllOf, AnyOf, Cause, Cell, Not, Vote
from gaswitness_sitefile.points import MapRules, Point, Table
from gaswitness_sitefile.retag import retagged
from gaswitness_sitefile.site import Site

GROUP_OF: Final = {
    "gaswitness_site": "panel",
    "behaviour": "panel",
    "pace": "links",
    "map": "points",
}
"""Fields of a site that are told under another's heading; all others have one of their own."""

GROUPS: Final = ("panel", "links", "timing", "channels", "inputs", "outputs", "matrix", "points")
"""The order of headings; those of other fields come after `timing`."""


TAGGED: Final = ("channels", "inputs", "outputs")
"""Compared first: what has another tag there is so called in all other parts."""


class Kind(StrEnum):
    """`missing`: one side has it and the other has not; `a` or `b` is then None."""

    CHANGED = "changed"
    MISSING = "missing"
    RENAMED = "renamed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs. `path`: fields and names from the site down, such as
    ("channels", "AT-101", "levels", "A2", "setpoint"). `a`, `b`: plain data, fit for JSON."""

    group: str
    kind: Kind
    path: tuple[str, ...]
    a: Any
    b: Any
    text: str


def differences(a: Site, b: Site) -> tuple[Difference, ...]:
    """All differences from `a` to `b`, heading by heading, rows in the order of `a`.

    Rows are matched by tag, name, or cause and effect. The order of rows and of a cause's terms
    does not count; only the first link's does, which gives a virtual panel its unit id. A value
    left out equals its default written out.
    """
    found: list[Difference] = []
    renames: dict[str, str] = {}
    for name in sorted(type(a).model_fields, key=lambda field: field not in TAGGED):
        scope = Scope(GROUP_OF.get(name, name), (name,), head=words.plain(name))
        before, after = getattr(a, name), getattr(b, name)
        if renames:
            before = retagged(before, renames)
        if _is_rows(before, after):
            pairs = _pairs(before, after)
            renames |= _tag_renames(pairs)
            pairs = _lone_as_written(pairs, getattr(a, name))
            found += _rows(pairs, scope)
        else:
            found += _values(before, after, scope)
        if name == "links":
            found += _first_link(before, after, scope)
    order = {group: at for at, group in enumerate(_headings(found))}
    return tuple(sorted(found, key=lambda one: order[one.group]))


def _headings(found: Sequence[Difference]) -> list[str]:
    others = [one.group for one in found if one.group not in GROUPS]
    at = GROUPS.index("timing") + 1
    return [*GROUPS[:at], *dict.fromkeys(others), *GROUPS[at:]]


def _is_rows(a: Any, b: Any) -> bool:
    rows = [*a, *b] if isinstance(a, tuple) and isinstance(b, tuple) else []
    return bool(rows) and all(isinstance(one, BaseModel) for one in rows)


def _is_names(value: Any) -> bool:
    return isinstance(value, tuple) and all(isinstance(one, str) for one in value)


def _values(a: Any, b: Any, scope: Scope) -> Iterator[Difference]:
    """Differences of one field's two values, of any shape."""
    if _is_rows(a, b):
        yield from _rows(_pairs(a, b), scope)
    elif isinstance(a, BaseModel) and type(a) is type(b):
        yield from _fields(a, b, scope)
    elif isinstance(a, Mapping) and isinstance(b, Mapping):
        for key in dict.fromkeys((*a, *b)):
            yield from _entry(key, a, b, scope)
    elif _is_names(a) and _is_names(b):
        for one in dict.fromkeys((*a, *b)):
            if one not in a or one not in b:
                yield _missing(one if one in a else None, one if one in b else None, scope)
    elif isinstance(b if a is None else a, BaseModel) and (a is None or b is None):
        yield _missing(a, b, scope)
    elif a != b:
        yield _changed(a, b, scope)


def _changed(a: Any, b: Any, scope: Scope) -> Difference:
    text = words.changed(a, b, scope)
    return Difference(scope.group, Kind.CHANGED, scope.path, _plain(a), _plain(b), text)


def _entry(key: Any, a: Mapping[Any, Any], b: Mapping[Any, Any], scope: Scope) -> Iterator[Any]:
    inner = scope.entry(key)
    if key in a and key in b:
        yield from _values(a[key], b[key], inner)
    else:
        yield _missing(a.get(key), b.get(key), inner)


def _missing(a: Any, b: Any, scope: Scope) -> Difference:
    text = words.missing(a, b, scope)
    return Difference(scope.group, Kind.MISSING, scope.path, _plain(a), _plain(b), text)


def _fields(a: BaseModel, b: BaseModel, scope: Scope) -> Iterator[Difference]:
    """Differences of two records that are meant to be the same thing."""
    keys = _key_fields(type(a)) if scope.is_row else ()
    for name in type(a).model_fields:
        before, after = getattr(a, name), getattr(b, name)
        if keys == (name,) or before == after or _same_by_default(name, a, b, scope):
            continue
        inner = scope.field(name, a, b)
        if isinstance(a, Cell) and isinstance(b, Cell) and _same_cause(name, a, b):
            continue
        if isinstance(a, MapRules) and isinstance(b, MapRules) and name == "gaps":
            before, after = ({table: one.gaps_of(table) for table in Table} for one in (a, b))
        yield from _values(before, after, inner)


def _same_by_default(name: str, a: BaseModel, b: BaseModel, scope: Scope) -> bool:
    values: list[Any] = []
    for side, one in enumerate((a, b)):
        owner = scope.records[side] if scope.records else None
        value = getattr(one, name)
        values.append(in_force(name, one, owner, scope.path[-1]) if value is None else value)
    return bool(values[0] == values[1])


def _first_link(a: Any, b: Any, scope: Scope) -> Iterator[Difference]:
    if a and b and a[0].name != b[0].name and {x.name for x in a} == {x.name for x in b}:
        yield _changed(a[0].name, b[0].name, replace(scope, label="the first one is"))


Pair = tuple[BaseModel | None, BaseModel | None]


def _rows(pairs: Sequence[Pair], scope: Scope) -> Iterator[Difference]:
    for at, (a, b) in enumerate(pairs):
        one = a or b
        if one is None:
            continue
        row = scope.row(_key(one, at), a, b)
        if a is None or b is None:
            yield _missing(a, b, row)
            continue
        before, after = _key(a, at), _key(b, at)
        if before != after and len(_key_fields(type(a))) == 1:
            path = (*row.path, *_key_fields(type(a)))
            text = words.renamed(before, after, row)
            yield Difference(scope.group, Kind.RENAMED, path, before, after, text)
        yield from _values(a, b, row)


def _key_fields(model: type[BaseModel]) -> tuple[str, ...]:
    """What a row goes by: its tag or name, or else every word that it must have."""
    for name in ("tag", "name"):
        if name in model.model_fields:
            return (name,)
    fields = model.model_fields.items()
    return tuple(name for name, info in fields if info.is_required() and info.annotation is str)


def _key(row: BaseModel, at: int) -> str:
    if isinstance(row, Cell):
        return row.id
    return " > ".join(str(getattr(row, name)) for name in _key_fields(type(row))) or str(at + 1)


def _sameness(rows: Sequence[BaseModel]) -> list[tuple[Any, int]]:
    """What each row is matched by; twins, which no good file has, are numbered."""
    seen: Counter[Any] = Counter()
    keys: list[tuple[Any, int]] = []
    for at, row in enumerate(rows):
        key = (_in_order(row.cause_tree), row.effect) if isinstance(row, Cell) else _key(row, at)
        seen[key] += 1
        keys.append((key, seen[key]))
    return keys


def _pairs(a: Sequence[BaseModel], b: Sequence[BaseModel]) -> list[Pair]:
    """Rows of both sides that are the same thing, in the order of `a`, then what only `b` has."""
    left, right = _sameness(a), _sameness(b)
    partner = {at: right.index(key) for at, key in enumerate(left) if key in right}
    taken = set(partner.values())
    lone_a = [at for at in range(len(a)) if at not in partner]
    lone_b = [at for at in range(len(b)) if at not in taken]
    likely = [(i, j) for i in lone_a for j in lone_b if _renamed(a[i], b[j])]
    of_a, of_b = Counter(i for i, _ in likely), Counter(j for _, j in likely)
    partner |= {i: j for i, j in likely if of_a[i] == 1 and of_b[j] == 1}
    taken = set(partner.values())
    pairs: list[Pair] = [(row, b[partner[i]] if i in partner else None) for i, row in enumerate(a)]
    return pairs + [(None, row) for j, row in enumerate(b) if j not in taken]


def _renamed(a: BaseModel, b: BaseModel) -> bool:
    """Whether two rows of different names are probably one thing: points at one place, other rows
    that differ in one of the words they go by and in nothing else, such as a cell's cause."""
    if type(a) is not type(b):
        return False
    if isinstance(a, Point) and isinstance(b, Point):
        return (a.table, a.address, a.bit) == (b.table, b.address, b.bit)
    differing = {n for n in type(a).model_fields if getattr(a, n) != getattr(b, n)}
    return len(differing) == 1 and differing <= set(_key_fields(type(a)))


def _lone_as_written(pairs: Sequence[Pair], rows: Sequence[BaseModel]) -> list[Pair]:
    """The pairs, what only `a` has being called as `a` calls it."""
    written = [(row, None) for row in rows]
    return [
        written[at] if at < len(rows) and pair[1] is None else pair for at, pair in enumerate(pairs)
    ]


def _tag_renames(pairs: Sequence[Pair]) -> dict[str, str]:
    tags = [
        (getattr(a, "tag", None), getattr(b, "tag", None))
        for a, b in pairs
        if a is not None and b is not None
    ]
    return {before: after for before, after in tags if before and after and before != after}


def _same_cause(name: str, a: Cell, b: Cell) -> bool:
    return name == "cause" and _in_order(a.cause_tree) == _in_order(b.cause_tree)


def _in_order(cause: Cause) -> str:
    """The cause with the terms of AND, OR and votes sorted: their order means nothing."""
    match cause:
        case Not(term):
            return f"NOT ({_in_order(term)})"
        case AllOf(terms) | AnyOf(terms) | Vote(_, terms):
            need = cause.need if isinstance(cause, Vote) else type(cause).__name__
            return f"{need}({', '.join(sorted(_in_order(term) for term in terms))})"
        case _:
            return str(cause)


def _plain(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json")
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return str(value) if isinstance(value, StrEnum) else value
