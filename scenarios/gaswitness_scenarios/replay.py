"""A record gone through once, exchange by exchange: the poll made again, the surveys cut out, and
each `samples` entry held to the exchange that it comes from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from gaswitness_probe.evidence_entries import samples_body
from gaswitness_probe.evidence_json import canonical
from gaswitness_probe.evidence_read import Row, read_rows
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.kept_exchange import OutOfStepError, exchange_of
from gaswitness_probe.poll_again import PollAgain, blocks_of
from gaswitness_probe.read_plan import Block
from gaswitness_scenarios.events import PhaseName
from gaswitness_sitefile.site import Site

_KINDS: Final = ("exchange", "samples", "second", "surveyed", "polling", "remark", "resumed")
_WITHIN_A_POLL: Final = (PhaseName.SCRIPT, PhaseName.SETTLE, PhaseName.JUDGE)


@dataclass
class KeptSurvey:
    """A survey as a record has it: what was asked before it, what it asked, what the other reader
    did, what its clock showed, and the poll that came after it, if one did."""

    before: tuple[Exchange, ...]
    exchanges: list[Exchange] = field(default_factory=list)
    second: list[Mapping[str, Any]] = field(default_factory=list)
    instants: tuple[float, ...] = ()
    blocks: tuple[Block, ...] | None = None
    refused: tuple[str, ...] = ()


@dataclass
class Replayed:
    """`samples`: how many entries were held to their exchanges."""

    poll: PollAgain
    surveys: list[KeptSurvey] = field(default_factory=list)
    exchanges: int = 0
    samples: int = 0


def replayed(path: Path, site: Site, *, rtu: bool, ended: bool) -> Replayed:
    """Go through the record; `ended`: the run was not broken off.

    Raises OutOfStepError at the first entry that does not follow from those before it,
    EvidenceError where the file is damaged.
    """
    replay = _Replay(site, rtu=rtu)
    for row in read_rows(path, *_KINDS):
        replay.take(row)
    return replay.finished(ended=ended)


class _Replay:
    def __init__(self, site: Site, *, rtu: bool) -> None:
        self._site = site
        self._rtu = rtu
        self._found = Replayed(PollAgain(self._site, rtu=self._rtu))
        self._before: list[Exchange] = []
        self._survey: KeptSurvey | None = None
        self._polls = False
        self._due: tuple[Row, bytes] | None = None
        self._last_s = 0.0

    def take(self, row: Row) -> None:
        match row.kind:
            case "exchange":
                self._exchange(row)
            case "samples":
                self._samples(row)
            case "second":
                if self._survey is None:
                    raise OutOfStepError(
                        f"entry {row.seq}: the other reader reads outside a survey"
                    )
                self._survey.second.append(row.body)
            case "surveyed":
                if self._survey is None:
                    raise OutOfStepError(f"entry {row.seq}: no survey was under way")
                self._survey.instants = tuple(row.body["instants"])
            case "polling":
                self._polling(row.body)
            case "remark":
                self._remark(row)
            case "resumed":
                # the run may have died between an exchange and its samples
                self._before, self._survey, self._polls, self._due = [], None, False, None

    def finished(self, *, ended: bool) -> Replayed:
        if ended:
            self._nothing_due()
        return self._found

    def _remark(self, row: Row) -> None:
        # nearly all remarks begin no part of the run; this spares reading them
        phase = row.body.get("phase") if '"phase"' in row.text else None
        if phase is None or phase in _WITHIN_A_POLL:
            return
        self._polls = False
        self._survey = None
        if phase == PhaseName.SURVEY:
            self._survey = KeptSurvey(tuple(self._before))
            self._found.surveys.append(self._survey)

    def _polling(self, body: Mapping[str, Any]) -> None:
        blocks = blocks_of(body, self._site)
        self._found.poll.begin(blocks)
        self._polls = True
        if self._survey is not None:
            self._survey.blocks, self._survey.refused = blocks, tuple(body["refused"])
            self._survey = None

    def _exchange(self, row: Row) -> None:
        self._nothing_due()
        exchange = exchange_of(row.seq, row.body, rtu=self._rtu)
        if exchange.sent_s < self._last_s or row.at_s != exchange.received_s:
            raise OutOfStepError(f"entry {row.seq} was asked before the one before it was answered")
        self._last_s = exchange.received_s
        self._found.exchanges += 1
        if not self._polls:
            into = self._before if self._survey is None else self._survey.exchanges
            into.append(exchange)
            if self._survey is not None:
                self._before.append(exchange)
            return
        changed = self._found.poll.take(exchange)
        if changed is not None:
            self._due = row, canonical(samples_body(*changed))

    def _samples(self, row: Row) -> None:
        if self._due is None:
            raise OutOfStepError(f"the samples of entry {row.seq} come from no exchange")
        asked, due = self._due
        self._due = None
        if row.text.encode("utf-8", "surrogatepass") != due or row.at_s != asked.at_s:
            raise OutOfStepError(
                f"the samples of entry {row.seq} are not what the exchange of entry {asked.seq} "
                "shows"
            )
        self._found.samples += 1

    def _nothing_due(self) -> None:
        if self._due is not None:
            raise OutOfStepError(
                f"the exchange of entry {self._due[0].seq} shows new values, and no samples say so"
            )
