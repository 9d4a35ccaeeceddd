"""The cause-and-effect matrix as drawn, not evaluated: causes, cells, and their notation.

A cause is written as the trade says it:

    AT-101.A1                          an alarm level of a channel
    AT-101.fault                       a channel in fault
    DI-1.active                        a digital input
    panel.fault                        the panel's own fault or any channel's
    any.A1                             that level of any channel
    2oo3(AT-1.A2, AT-2.A2, AT-3.A2)    a vote
    AT-101.A2 AND NOT DI-2.active      joined with inputs; AND binds before OR
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Final, Self

from pydantic import Field, field_validator, model_validator

from gaswitness_sitefile.life_facts import BUS_FLAGS, LIFE_FLAGS
from gaswitness_sitefile.mode_facts import CHANNEL_MODES
from gaswitness_sitefile.model import Record, Seconds, Tag

CHANNEL_CAUSES: Final = (
    "A1",
    "A2",
    "A3",
    "fault",
    "inhibit",
    "over_range",
    "under_range",
    "STEL",
    "TWA",
    *BUS_FLAGS,
    *CHANNEL_MODES,
)
PANEL_CAUSES: Final = ("fault", "warm_up", *LIFE_FLAGS)
ANY_CAUSES: Final = ("A1", "A2", "A3", "fault")


@dataclass(frozen=True, slots=True)
class Fact:
    """A yes-or-no fact of the panel: `subject` is a tag, `panel` or `any`; `what` its aspect."""

    subject: str
    what: str

    def __str__(self) -> str:
        return f"{self.subject}.{self.what}"


@dataclass(frozen=True, slots=True)
class Not:
    """True where `term` is false."""

    term: "Cause"

    def __str__(self) -> str:
        inner = f"({self.term})" if isinstance(self.term, AllOf | AnyOf) else str(self.term)
        return f"NOT {inner}"


@dataclass(frozen=True, slots=True)
class AllOf:
    """True where every term is."""

    terms: tuple["Cause", ...]

    def __str__(self) -> str:
        return " AND ".join(f"({t})" if isinstance(t, AnyOf) else str(t) for t in self.terms)


@dataclass(frozen=True, slots=True)
class AnyOf:
    """True where at least one term is."""

    terms: tuple["Cause", ...]

    def __str__(self) -> str:
        return " OR ".join(str(t) for t in self.terms)


@dataclass(frozen=True, slots=True)
class Vote:
    """True where at least `need` of `terms` are: `need`oo`len(terms)`."""

    need: int
    terms: tuple["Cause", ...]

    def __str__(self) -> str:
        return f"{self.need}oo{len(self.terms)}({', '.join(str(t) for t in self.terms)})"


Cause = Fact | Not | AllOf | AnyOf | Vote


def facts_of(cause: Cause) -> Iterator[Fact]:
    """Every fact that the cause depends on, left to right, repeats included."""
    match cause:
        case Fact():
            yield cause
        case Not(term):
            yield from facts_of(term)
        case AllOf(terms) | AnyOf(terms) | Vote(_, terms):
            for term in terms:
                yield from facts_of(term)


_HINT: Final = (
    "write for example AT-101.A1, panel.fault OR DI-1.active, or 2oo3(X-1.A2, X-2.A2, X-3.A2)"
)
_DEEPEST: Final = 40
_TOKEN = re.compile(
    r"\s*(?:(?P<vote>\d+)oo(?P<of>\d+)\s*\(|(?P<word>[A-Za-z][A-Za-z0-9_./-]*)|(?P<mark>[(),]))"
)


def parse_cause(text: str) -> Cause:
    """Read a cause in the notation above.

    Raises ValueError that says what was found, where, and what to write.
    """
    tokens = list(_tokens(text))
    if not tokens:
        raise ValueError("the cause is empty: write for example AT-101.A1 or 2oo2(X-1.A2, X-2.A2)")
    parser = _Parser(text, tokens)
    cause = parser.any_of()
    parser.end()
    return cause


def _tokens(text: str) -> Iterator[tuple[str, str]]:
    at = 0
    stripped = text.rstrip()
    while at < len(stripped):
        match = _TOKEN.match(stripped, at)
        if match is None:
            raise ValueError(f"cannot read {stripped[at:].strip()!r} in cause {text!r}: {_HINT}")
        if match["vote"]:
            yield "vote", f"{match['vote']}oo{match['of']}"
        elif match["word"]:
            word = match["word"]
            upper = word.upper()
            yield (upper, word) if upper in ("AND", "OR", "NOT") else ("word", word)
        else:
            yield match["mark"], match["mark"]
        at = match.end()


class _Parser:
    def __init__(self, text: str, tokens: list[tuple[str, str]]) -> None:
        self.text = text
        self.tokens = tokens
        self.at = 0
        self.depth = 0

    def peek(self) -> str:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else "end"

    def take(self, kind: str, instead: str) -> str:
        if self.peek() != kind:
            found = self.tokens[self.at][1] if self.at < len(self.tokens) else "the end"
            raise ValueError(
                f"found {found!r} where {instead} belongs, in cause {self.text!r}: {_HINT}"
            )
        value = self.tokens[self.at][1]
        self.at += 1
        return value

    def end(self) -> None:
        self.take("end", "AND, OR or the end") if self.peek() != "end" else None

    def any_of(self) -> Cause:
        terms = [self.all_of()]
        while self.peek() == "OR":
            self.at += 1
            terms.append(self.all_of())
        return terms[0] if len(terms) == 1 else AnyOf(tuple(terms))

    def all_of(self) -> Cause:
        terms = [self.term()]
        while self.peek() == "AND":
            self.at += 1
            terms.append(self.term())
        return terms[0] if len(terms) == 1 else AllOf(tuple(terms))

    def term(self) -> Cause:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise ValueError(f"the cause nests deeper than {_DEEPEST}: write it flatter")
        found = self.bare_term()
        self.depth -= 1
        return found

    def bare_term(self) -> Cause:
        if self.peek() == "NOT":
            self.at += 1
            return Not(self.term())
        if self.peek() == "(":
            self.at += 1
            inner = self.any_of()
            self.take(")", "')'")
            return inner
        if self.peek() == "vote":
            return self.vote()
        return self.fact()

    def vote(self) -> Cause:
        mark = self.take("vote", "a vote such as 2oo3")
        need, of = (int(n) for n in mark.split("oo"))
        terms = [self.any_of()]
        while self.peek() == ",":
            self.at += 1
            terms.append(self.any_of())
        self.take(")", "',' or ')'")
        if len(terms) != of:
            raise ValueError(
                f"{mark} wants {of} terms, found {len(terms)}, in cause {self.text!r}: "
                "write as many terms as the vote counts"
            )
        if not 1 <= need <= of:
            raise ValueError(f"{mark} can never be met: write 1oo{of} to {of}oo{of}")
        return Vote(need, tuple(terms))

    def fact(self) -> Fact:
        word = self.take("word", "a cause such as AT-101.A1")
        subject, dot, what = word.partition(".")
        if not dot or not what or "." in what:
            raise ValueError(
                f"{word!r} is not a cause: write TAG.aspect, for example AT-101.A1, AT-101.fault, "
                "DI-1.active, panel.fault"
            )
        return Fact(subject, what)


class Cell(Record):
    """One crossing of the matrix.

    The effect comes when the cause has stood for `on_delay_s`, at most `response_s` later, and not
    earlier than `early_s` before the delay is over (left out: a tenth of the delay). When the cause
    goes, the effect stays `off_delay_s` longer, or until reset where `latching`.
    """

    cause: str
    effect: Tag
    on_delay_s: Seconds = 0.0
    off_delay_s: Seconds = 0.0
    latching: bool = False
    response_s: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    early_s: Seconds | None = None
    note: str = ""

    @field_validator("cause")
    @classmethod
    def _cause_reads(cls, text: str) -> str:
        return str(parse_cause(text))

    @model_validator(mode="after")
    def _early_is_within_the_delay(self) -> Self:
        if self.early_s is not None and self.early_s > self.on_delay_s:
            raise ValueError(
                f"early_s cannot be longer than on_delay_s: write at most {self.on_delay_s:g}"
            )
        return self

    @cached_property
    def cause_tree(self) -> Cause:
        """The cause, read."""
        return parse_cause(self.cause)

    @property
    def id(self) -> str:
        """The cell's name in plans, verdicts and reports: `cause > effect`."""
        return f"{self.cause} > {self.effect}"

    @property
    def early_allowance_s(self) -> float:
        """How much before the end of the on-delay the effect may come, in seconds."""
        return 0.1 * self.on_delay_s if self.early_s is None else self.early_s
