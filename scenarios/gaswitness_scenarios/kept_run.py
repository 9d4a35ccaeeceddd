"""A run as its record keeps it: read back for whoever reports on it, judges it anew or goes on.

Nothing but the evidence file is looked at. What was seen is built again from the raw exchanges.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Final

from gaswitness_probe.applied import Applied, Expectation, Looked
from gaswitness_probe.entries_back import (
    applied_of,
    expectation_of_body,
    facts_of,
    looked_of,
)
from gaswitness_probe.evidence_entries import RunFacts, verdict_of
from gaswitness_probe.evidence_file import KINDS, EvidenceError
from gaswitness_probe.evidence_read import Entry, end_of, read_evidence, read_rows
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.history import PointHistory
from gaswitness_probe.kept_exchange import exchange_of, framed_as_rtu
from gaswitness_probe.verdict import Verdict
from gaswitness_scenarios.kept_files import kept_scripts, kept_site
from gaswitness_scenarios.replay import Replayed, replayed
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.link_address import LinkAddress, parse_link
from gaswitness_sitefile.load import LoadedSite

MANY: Final = frozenset({"exchange", "samples", "second", "surveyed"})
FEW: Final = tuple(sorted(KINDS - MANY))
"""Kinds of entries that are read at once: all but what the wire said."""


@dataclass(frozen=True)
class KeptRun:
    """A run, from its record.

    `entries`: how many the record has. `digest`: the chain of the last, in hex. `by_kind`: the
    entries of each kind in order, those of exchanges, samples and the other reader aside.
    """

    path: Path
    entries: int
    digest: str
    by_kind: Mapping[str, tuple[Entry, ...]] = field(repr=False)

    def of(self, *kinds: str) -> tuple[Entry, ...]:
        """The entries of these kinds, in order; none of exchanges, samples and the other reader."""
        if len(kinds) == 1:
            return self.by_kind.get(kinds[0], ())
        found = (entry for kind in kinds for entry in self.by_kind.get(kind, ()))
        return tuple(sorted(found, key=lambda entry: entry.seq))

    @cached_property
    def facts(self) -> RunFacts:
        """What ran, on what, with which files. Raises EvidenceError where nothing says so."""
        found = self.of("run")
        if not found:
            raise EvidenceError(f"{self.path}: the record does not say what ran")
        return facts_of(found[0].body)

    @cached_property
    def site(self) -> LoadedSite:
        """The site, loaded anew from the files kept. Raises SiteFileError, EvidenceError."""
        return kept_site(self.facts)

    @cached_property
    def scripts(self) -> tuple[Script, ...]:
        """The scripts, loaded anew from the files kept. Raises ScriptError, EvidenceError."""
        return kept_scripts(self.facts, self.site.site)

    @cached_property
    def applied(self) -> tuple[Applied, ...]:
        """What was done to the panel, in order."""
        return tuple(applied_of(entry.body) for entry in self.of("applied"))

    @cached_property
    def looked(self) -> tuple[Looked, ...]:
        """What a person saw or heard."""
        return tuple(looked_of(entry.body) for entry in self.of("looked"))

    @cached_property
    def expectations(self) -> tuple[Expectation, ...]:
        """The tester's own expectations."""
        return tuple(expectation_of_body(entry.body) for entry in self.of("expected"))

    @property
    def tests(self) -> tuple[Entry, ...]:
        """Entries `test`, `test_end` and `initials`, in the order in which they were made."""
        return self.of("test", "test_end", "initials")

    @property
    def people(self) -> tuple[Entry, ...]:
        """Who took part."""
        return self.of("people")

    @property
    def instruments(self) -> tuple[Entry, ...]:
        """What was measured with."""
        return self.of("instrument")

    @property
    def test_gases(self) -> tuple[Entry, ...]:
        """Gas that was applied, with certificates."""
        return self.of("test_gas")

    @property
    def attachments(self) -> tuple[Entry, ...]:
        """Photographs and other files put into the record."""
        return self.of("attachment")

    @property
    def deviations(self) -> tuple[Entry, ...]:
        """What goes on the punch list."""
        return self.of("deviation")

    @property
    def remarks(self) -> tuple[Entry, ...]:
        """Remarks of people and of the run; a part of the run that begins has `phase`."""
        return self.of("remark")

    @property
    def resumed(self) -> tuple[Entry, ...]:
        """Where a run that broke off went on."""
        return self.of("resumed")

    @property
    def judging(self) -> Entry | None:
        """What the judge was asked for the last time; None where it never was."""
        return max(self.of("judging"), key=lambda entry: entry.seq, default=None)

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """The verdicts that count: those after the judge was asked for the last time."""
        since = 0 if self.judging is None else self.judging.seq
        return tuple(verdict_of(one.body) for one in self.of("verdict") if one.seq > since)

    @property
    def span_s(self) -> tuple[float, float]:
        """First and last instant that was judged, in seconds of the run; (0, 0) where none was."""
        asked = self.judging
        return (0.0, 0.0) if asked is None else (asked.body["low_s"], asked.body["high_s"])

    @property
    def end(self) -> Entry | None:
        """How the run ended, `why` and `summary`; None where the record does not hold it."""
        last = max(self.of("end"), key=lambda entry: entry.seq, default=None)
        return last if last is not None and last.seq == self.entries else None

    @property
    def address(self) -> LinkAddress | None:
        """The link's address; None where the link was in memory."""
        link = self.facts.link
        return parse_link(link) if ":" in link else None

    @property
    def rtu(self) -> bool:
        """Whether the frames are RTU."""
        return framed_as_rtu(self.facts.link)

    def exchanges(self, low_s: float = 0.0, high_s: float = float("inf")) -> Iterator[Exchange]:
        """The exchanges answered from `low_s` to `high_s`, in order; read as they are asked for.

        `seq` is the number of the entry. Raises EvidenceError, OutOfStepError.
        """
        rtu = self.rtu
        for row in read_rows(self.path, "exchange", within_s=(low_s, high_s)):
            yield exchange_of(row.seq, row.body, rtu=rtu)

    @cached_property
    def replayed(self) -> Replayed:
        """The record gone through once, each exchange held to its bytes and to its samples.

        Raises OutOfStepError at the first entry that does not follow from those before it.
        """
        ended = self.end is not None
        return replayed(self.path, self.site.site, rtu=self.rtu, ended=ended)

    def histories(self) -> Mapping[str, PointHistory]:
        """What polling saw of each point, built again from the raw exchanges.

        Raises OutOfStepError where the exchanges do not fit together.
        """
        return self.replayed.poll.histories()


def read_run(path: Path) -> KeptRun:
    """Read a record back. Raises EvidenceError where the file is no record, or is damaged."""
    found: dict[str, list[Entry]] = {}
    for entry in read_evidence(path, *FEW):
        found.setdefault(entry.kind, []).append(entry)
    entries, digest = end_of(path)
    return KeptRun(path, entries, digest, {kind: tuple(some) for kind, some in found.items()})
