"""What a design rule is, and what it says when it fires. No rules live here."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from gaswitness_sitefile.problems import Loc, Place
from gaswitness_sitefile.site import Site

PRACTICE: Final = "common practice, no source"


class Kind(StrEnum):
    """How much a finding weighs."""

    WARNING = "warning"
    CAUTION = "caution"
    NOTE = "note"


Findings = Iterator[tuple[Loc, str]]
"""Where in the site (a path into its data), and what was found there."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One design rule. `source`: a clause, or that there is none."""

    id: str
    find: Callable[[Site], Findings]
    reason: str
    source: str = PRACTICE
    kind: Kind = Kind.WARNING


@dataclass(frozen=True, slots=True)
class DesignWarning:
    """One finding of a design rule."""

    rule: str
    place: Place
    what: str
    reason: str
    source: str
    kind: Kind = Kind.WARNING

    def __str__(self) -> str:
        return (
            f"{self.place}: {self.rule} {self.kind}: {self.what}: {self.reason} "
            f"(source: {self.source})"
        )
