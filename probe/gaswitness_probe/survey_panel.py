"""Whether the panel lives and who it says it is: heartbeat, identification, unit id, and how its
replies keep to the protocol. Only reads."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Final

from gaswitness_probe.client import Client
from gaswitness_probe.decode import decode
from gaswitness_probe.deviation import LOSSES, Deviation
from gaswitness_probe.exchange import LinkStatistics
from gaswitness_probe.frames import identification_request, parse_identification
from gaswitness_probe.read_plan import why_unread
from gaswitness_probe.survey_block import read_alone, span_of
from gaswitness_probe.survey_edges import gathered
from gaswitness_probe.survey_reader import Answer, Reader
from gaswitness_probe.verdict import Aspect, Kind, Outcome, Verdict
from gaswitness_sitefile.points import Point, PointType
from gaswitness_sitefile.site import Site

PERIODS_WATCHED: Final = 3
PERIOD_UNKNOWN_S: Final = 5.0
"""Taken for the heartbeat's period where the site file states none."""

PERIOD_STRETCH: Final = 1.25
"""How much longer than stated a period may be, for the panel's clock and its work."""

LOOKS_PER_PERIOD: Final = 4
MOST_IDENTITY_READS: Final = 16


async def survey_heartbeat(reader: Reader, site: Site) -> Verdict:
    """Whether each heartbeat changes as often as stated, watched for three of its periods."""
    period_s = site.timing.heartbeat_s
    expected = "the heartbeat changes"
    points = [p for p in site.points if p.shows == "heartbeat" and why_unread(site, p) is None]
    if not points:
        because = "no heartbeat is mapped: liveness cannot be verified"
        return Verdict("link/heartbeat", Kind.LINK, Outcome.NOT_RUN, expected, because=because)
    watched_s = PERIODS_WATCHED * (period_s or PERIOD_UNKNOWN_S)
    watched_s += site.timing.scan_s + site.timing.refresh_s
    longest_s = site.timing.scan_s + site.timing.refresh_s
    longest_s = PERIOD_STRETCH * period_s + longest_s if period_s else inf
    aspects = [
        await _watch(reader, point, watched_s, stated=period_s, longest_s=longest_s)
        for point in points
    ]
    return gathered("link/heartbeat", expected, tuple(aspects))


@dataclass(frozen=True, slots=True)
class _Look:
    """What a heartbeat showed at some instant of the exchange from `sent_s` to `received_s`."""

    sent_s: float
    received_s: float
    value: object


async def _watch(
    reader: Reader, point: Point, watched_s: float, *, stated: float | None, longest_s: float
) -> Aspect:
    clock = reader.clock
    step_s = watched_s / (PERIODS_WATCHED * LOOKS_PER_PERIOD)
    begun_s = clock.now()
    seen: list[_Look] = []
    lost: Answer | None = None
    look = changes = 0
    while True:
        answer, words = await read_alone(reader, span_of(point))
        if words is None or answer.exchange is None:
            lost = answer
        else:
            exchange = answer.exchange
            seen.append(_Look(exchange.sent_s, exchange.received_s, decode(point, words)))
        look += 1
        changes = sum(a.value != b.value for a, b in pairwise(seen))
        over_s = clock.now() - begun_s - watched_s
        # a slow heartbeat that happens to change midway stands still on neither side for long
        if reader.given_up or over_s >= (watched_s if changes == 1 and stated else 0.0):
            break
        await clock.sleep_until(begun_s + look * step_s)
    still_s = _stillness(seen, stated if _toggles(point) else None)
    expected = f"changes every {stated:g} s" if stated else "changes"
    times = "1 change" if changes == 1 else f"{changes} changes"
    text = f"{times} in {clock.now() - begun_s:.3g} s, {len(seen)} looks"
    if changes and still_s <= longest_s:
        return Aspect(point.name, Outcome.PROVEN, expected, text)
    if changes:
        because = (
            f"it stood still for {still_s:.3g} s at a time, and is to change every {stated:g} s"
        )
        return Aspect(point.name, Outcome.FAILED, expected, text, None, because, clock.now())
    if lost is not None:
        outcome = Outcome.INCONCLUSIVE if lost.lost else Outcome.FAILED
        return Aspect(point.name, outcome, expected, text, None, lost.words, lost.at_s)
    if stated is None:
        because = "it did not change, and timing.heartbeat_s does not say how often it should"
        return Aspect(point.name, Outcome.INCONCLUSIVE, expected, text, None, because)
    if still_s <= longest_s:
        because = "the looks lay too far apart to see it change and change back"
        return Aspect(point.name, Outcome.INCONCLUSIVE, expected, text, None, because)
    because = "it stands still: what the panel shows may be old"
    return Aspect(point.name, Outcome.FAILED, expected, text, None, because, clock.now())


def _toggles(point: Point) -> bool:
    return point.type in (PointType.BIT, PointType.BIT_IN_WORD)


def _stillness(looks: Sequence[_Look], unseen_s: float | None) -> float:
    """For how many seconds at least the value stood still, at the longest.

    Two looks `unseen_s` apart, or further, may have missed that it changed and changed back.
    """
    longest_s = 0.0
    since_s = inf
    for before, after in pairwise(looks):
        apart_s = after.received_s - before.sent_s
        if before.value != after.value or (unseen_s is not None and apart_s >= unseen_s):
            since_s = inf
            continue
        since_s = min(since_s, before.received_s)
        longest_s = max(longest_s, after.sent_s - since_s)
    return longest_s


async def survey_identification(reader: Reader, site: Site) -> Verdict:
    """Whether Read Device Identification says what the site file states of the panel."""
    panel = site.panel
    stated = {
        0: ("vendor", panel.vendor),
        1: ("product", panel.product),
        2: ("revision", panel.revision),
    }
    wanted = {key: pair for key, pair in stated.items() if pair[1]}
    expected = ", ".join(f"{name} {text!r}" for name, text in wanted.values())
    expected = expected or "the panel says who it is"
    objects, answer = await _identity(reader)
    if objects is None:
        return _no_identity(answer, expected, stated=bool(wanted))
    aspects = tuple(
        _same_text(name, text, objects.get(key), answer) for key, (name, text) in wanted.items()
    )
    if not aspects:
        aspects = (Aspect("answers", Outcome.PROVEN, "objects 0 to 2", _listed(objects)),)
    found = gathered("link/identification", expected, aspects)
    return Verdict(
        found.id,
        found.kind,
        found.outcome,
        expected,
        _listed(objects),
        because=found.because,
        aspects=aspects,
    )


async def _identity(reader: Reader) -> tuple[dict[int, bytes] | None, Answer]:
    objects: dict[int, bytes] = {}
    following = 0
    for _ in range(MOST_IDENTITY_READS):
        answer = await reader.ask(identification_request(1, following), "identification")
        if not answer.ok or answer.exchange is None:
            return None, answer
        found = parse_identification(answer.exchange.required())
        objects |= found.objects
        if not found.more_follows or found.next_object <= following:
            break
        following = found.next_object
    return objects, answer


def _no_identity(answer: Answer, expected: str, *, stated: bool) -> Verdict:
    outcome, because = Outcome.FAILED, answer.words
    if answer.lost:
        outcome = Outcome.INCONCLUSIVE
    elif answer.refused is not None and not stated:
        outcome = Outcome.NOT_RUN
        because = f"the panel has no identification, and the site file states none ({because})"
    return Verdict(
        "link/identification", Kind.LINK, outcome, expected, answer.frames, because=because
    )


def _same_text(name: str, text: str, found: bytes | None, answer: Answer) -> Aspect:
    if found is None:
        because = "the panel does not give it"
        return Aspect(name, Outcome.FAILED, repr(text), answer.frames, None, because)
    said = found.decode("ascii", "backslashreplace").rstrip("\x00 ")
    if said == text.strip():
        return Aspect(name, Outcome.PROVEN, repr(text), repr(said))
    because = f"the panel says {said!r}"
    return Aspect(name, Outcome.FAILED, repr(text), f"{said!r}; {answer.frames}", None, because)


def _listed(objects: dict[int, bytes]) -> str:
    return ", ".join(
        f"{key}: {text.decode('ascii', 'backslashreplace')!r}"
        for key, text in sorted(objects.items())
    )


NOTED: Final = frozenset(
    {
        Deviation.LATE,
        Deviation.LOCAL_ECHO,  # the converter's doing, not the panel's
        Deviation.PADDING_NOT_ZERO,
        Deviation.UNKNOWN_EXCEPTION,
    }
)
"""Deviations that are told, not held against the panel."""


DAMAGE_ON_A_LINE: Final = (Deviation.WRONG_CRC, Deviation.STRAY_BEFORE, Deviation.UNASKED)
"""What cable, termination, bias or a second master do to frames on a serial line."""

KINDS_OF_DAMAGE: Final = 3
"""A panel that frames wrongly does one thing wrong again and again. Frames that are now and then
wrong in as many ways as this are damaged on the way."""


def _damaged_on_the_way(seen: Counter[Deviation], requests: int) -> bool:
    """Whether the deviations speak of the way, not of who answers."""
    if any(seen[deviation] for deviation in DAMAGE_ON_A_LINE):
        return True
    wrong = [
        count
        for deviation, count in seen.items()
        if count and deviation not in LOSSES and deviation not in NOTED
    ]
    return len(wrong) >= KINDS_OF_DAMAGE and sum(wrong) < requests / 2


class LinkRecord:
    """What the client counted since this was made."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._before = Counter(client.statistics.deviations)
        self._requests = client.statistics.requests
        self._replies = client.statistics.replies

    def replies(self) -> Verdict:
        """Whether every reply that came kept to the protocol. Silence is told, not judged."""
        statistics = self._client.statistics
        seen = statistics.deviations - self._before
        requests = statistics.requests - self._requests
        replies = statistics.replies - self._replies
        damaged = _damaged_on_the_way(seen, requests)
        aspects = tuple(
            _deviation_aspect(deviation, count, requests, statistics, damaged=damaged)
            for deviation, count in sorted(seen.items())
            if deviation not in LOSSES and deviation is not Deviation.WRONG_UNIT
        )
        lost = sum(count for deviation, count in seen.items() if deviation in LOSSES)
        notes = [a.because for a in aspects]
        if lost:
            notes.append(f"{lost} requests got no reply, or found no connection")
        outcome = Outcome.PROVEN if replies else Outcome.INCONCLUSIVE
        for aspect in aspects:
            if aspect.outcome is Outcome.FAILED or outcome is Outcome.PROVEN:
                outcome = aspect.outcome
        text = f"{replies} replies to {requests} requests"
        times = statistics.response_s
        if times is not None:
            text += ", in {:.3g} / {:.3g} / {:.3g} s (least, median, most)".format(*times)
        expected = "every reply keeps to the protocol"
        because = "; ".join(notes)
        return Verdict(
            "link/replies", Kind.LINK, outcome, expected, text, because=because, aspects=aspects
        )

    def unit(self) -> Verdict:
        """Whether replies carry the unit id that was asked."""
        statistics = self._client.statistics
        seen = statistics.deviations - self._before
        wrong = seen[Deviation.WRONG_UNIT]
        replies = statistics.replies - self._replies
        expected = f"replies carry unit id {self._client.unit}"
        if wrong:
            damaged = _damaged_on_the_way(seen, statistics.requests - self._requests)
            aspect = _deviation_aspect(
                Deviation.WRONG_UNIT, wrong, replies, statistics, damaged=damaged
            )
            return gathered("link/unit", expected, (aspect,))
        if not replies:
            because = "nothing was answered"
            return Verdict("link/unit", Kind.LINK, Outcome.INCONCLUSIVE, expected, because=because)
        text = f"{replies} replies, all of them"
        return Verdict("link/unit", Kind.LINK, Outcome.PROVEN, expected, text)


def _deviation_aspect(
    deviation: Deviation, count: int, requests: int, statistics: LinkStatistics, *, damaged: bool
) -> Aspect:
    example = statistics.examples[deviation][-1]
    shown = [example.problem, *example.notes]
    seen = "; ".join(str(p) for p in shown if p is not None and p.deviation is deviation)
    because = f"{deviation.value} {count} times in {requests} requests"
    if deviation in NOTED:
        outcome = Outcome.PROVEN
    elif count == 1:
        # one damaged frame among many proves nothing against a panel: it must recur
        outcome = Outcome.INCONCLUSIVE
        because += ", which may be chance"
    elif damaged:
        outcome = Outcome.INCONCLUSIVE
        because += (
            ", as frames are damaged on the way (cable, termination, a second master): "
            "mend the link and ask again"
        )
    else:
        outcome = Outcome.FAILED
    return Aspect(deviation.value, outcome, "never", seen, None, because, example.received_s)
