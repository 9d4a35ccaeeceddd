"""The search for who answers on a link, and at which settings: one request at a time with pauses,
one register and the identification, nothing else. What to try is `find_plan`'s; no verdicts."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.clock import Clock
from gaswitness_probe.deviation import Deviation, exception_words
from gaswitness_probe.exchange import Exchange
from gaswitness_probe.find_plan import QUESTIONS_TO_SURE, Search, Try
from gaswitness_probe.frames import parse_identification
from gaswitness_probe.links import open_link
from gaswitness_sitefile.link import Pace
from gaswitness_sitefile.link_address import LinkAddress, SerialLine
from gaswitness_sitefile.points import Table

GATEWAY_EXCEPTIONS: Final = frozenset({0x0A, 0x0B})
ANSWERS_TO_BE_CERTAIN: Final = 3
UNITS_THAT_SHOW_INDIFFERENCE: Final = 4
"""Units in a row, 1 and 247 among them, that answer over a network: then any unit id does."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A unit that answered: how often of how many, and what it said in words."""

    line: SerialLine | None
    unit: int
    answers: int
    asked: int
    register: str
    identity: str

    @property
    def certain(self) -> bool:
        """Whether it answered often enough that noise cannot be what was heard."""
        return self.answers >= ANSWERS_TO_BE_CERTAIN


@dataclass(slots=True)
class Findings:
    """What a search found. `garbled`: tries that were answered by bytes that are no reply, by line
    settings. `late`: answers that came when the try was over. `turned_away`: tries that a gateway
    answered for a unit that it cannot reach. `any_unit`: whichever unit id is asked, it answers.
    """

    heard: list[Heard] = field(default_factory=list)
    garbled: dict[SerialLine | None, int] = field(default_factory=dict)
    tried: int = 0
    late: int = 0
    turned_away: int = 0
    any_unit: bool = False

    @property
    def certain(self) -> bool:
        """Whether anything was found for certain."""
        return any(heard.certain for heard in self.heard)


@dataclass(frozen=True, slots=True)
class Told:
    """Callbacks for whoever watches: settings begin; a unit was heard."""

    line: Callable[[SerialLine | None], None]
    heard: Callable[[Heard], None]


async def find(
    address: LinkAddress,
    search: Search,
    clock: Clock,
    told: Told,
) -> Findings:
    """Search. Once a line's settings are certain, only they are searched on.

    Raises NoConnection where the link itself cannot be opened or is lost for good.
    """
    findings = Findings()
    certain: SerialLine | None = None
    client: Client | None = None
    present: SerialLine | None = None
    try:
        for one in search.tries():
            if (certain is not None and one.line != certain) or findings.any_unit:
                continue
            if client is None or one.line != present:
                if client is not None:
                    await client.close()
                client, present = _client(address, one.line, search, clock), one.line
                await client.open()
                told.line(one.line)
            heard = await _try(client, one, findings)
            if heard is not None:
                told.heard(heard)
                if heard.certain:
                    certain = one.line
            findings.any_unit = one.line is None and _indifferent(findings)
    finally:
        if client is not None:
            await client.close()
    return findings


def _client(
    address: LinkAddress,
    line: SerialLine | None,
    search: Search,
    clock: Clock,
) -> Client:
    pace = Pace(timeout_s=search.timeout_s, request_gap_s=search.pause_s)
    transport, framing = open_link(address if line is None else replace(address, serial=line), pace)
    # most of what a search asks stays silent: that is no reason to connect anew
    framing.silence_shows_break = False
    return Client(transport, unit=1, clock=clock, pace=pace, framing=framing)


def _indifferent(findings: Findings) -> bool:
    return len(findings.heard) == findings.tried == UNITS_THAT_SHOW_INDIFFERENCE


async def _try(client: Client, one: Try, findings: Findings) -> Heard | None:
    findings.tried += 1
    client.unit = one.unit
    exchange = await _ask(client)
    findings.late += sum(note.deviation is Deviation.LATE for note in exchange.notes)
    if exchange.exception_code in GATEWAY_EXCEPTIONS:
        findings.turned_away += 1
        return None
    if exchange.problem is not None:
        if exchange.problem.deviation is Deviation.NO_CONNECTION:
            exchange.required()
        if exchange.problem.raw:
            findings.garbled[one.line] = findings.garbled.get(one.line, 0) + 1
        return None
    answers = asked = 1
    identity = await _identity(client)
    while asked < QUESTIONS_TO_SURE:
        again = await _ask(client)
        asked += 1
        answers += _answered(again)
    heard = Heard(one.line, one.unit, answers, asked, _said(exchange), identity)
    findings.heard.append(heard)
    return heard


async def _ask(client: Client) -> Exchange:
    """One register, once the pace and the back-off allow it."""
    await client.clock.sleep_until(client.free_s)
    return await client.read(Table.HOLDING, 0, 1)


def _answered(exchange: Exchange) -> bool:
    """Whether the unit spoke; a late answer proves its presence as well as any other."""
    problem = exchange.problem
    return problem is None or problem.deviation is Deviation.DOUBTFUL


def _said(exchange: Exchange) -> str:
    if exchange.exception_code is not None:
        return exception_words(exchange.exception_code)
    return exchange.payload.hex().upper()


async def _identity(client: Client) -> str:
    await client.clock.sleep_until(client.free_s)
    exchange = await client.read_identification()
    if exchange.pdu is None or not exchange.ok:
        return ""
    objects = parse_identification(exchange.pdu).objects
    texts = (text.decode("ascii", "backslashreplace").strip("\x00 ") for text in objects.values())
    return ", ".join(text for text in texts if text)
