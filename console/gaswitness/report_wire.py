"""The exchanges of a record, each read when it is looked at: a report shows few of very many."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator
from typing import Final

from gaswitness_probe.evidence_read import Row, read_rows
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.kept_exchange import exchange_of
from gaswitness_scenarios.kept_run import KeptRun

GOOD: Final = '"problem":null'
"""In the text of an exchange that was answered; a text within another has its quotes escaped."""
NOTED: Final = '"notes":['


class Wire:
    """All exchanges of a run in order, by place from 0. `received_s`: when each was over."""

    def __init__(self, run: KeptRun) -> None:
        self._rows: list[Row] = list(read_rows(run.path, "exchange"))
        self._rtu = run.rtu
        self.received_s = [row.at_s for row in self._rows]

    def __len__(self) -> int:
        return len(self._rows)

    def __getitem__(self, place: int) -> Exchange:
        row = self._rows[place]
        return exchange_of(row.seq, row.body, rtu=self._rtu)

    def __iter__(self) -> Iterator[Exchange]:
        return map(self.__getitem__, range(len(self._rows)))

    def since(self, at_s: float) -> int:
        """The place of the first exchange that was over at that instant or later."""
        return bisect_left(self.received_s, at_s)

    def unsound(self) -> Iterator[Exchange]:
        """Those that were not answered as they must be, or came with something beside."""
        for place, row in enumerate(self._rows):
            if GOOD not in row.text or NOTED in row.text:
                yield self[place]

    def problems(self) -> Counter[str]:
        """How often each kind of trouble came."""
        bad = (one.problem for one in self.unsound())
        return Counter(str(one.deviation.value) for one in bad if one is not None)
