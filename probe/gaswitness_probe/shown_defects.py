"""Which defects of the map a run would have shown, had the panel had them, and which it could not.

Each defect of each class at each place is held against what the run saw: a panel with it would have
put other values, and where one of these would have been failed, the defect was shown to be absent.
Pure; no verdict comes of it.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gaswitness_probe.decode import decoder
from gaswitness_probe.expect import Expectations
from gaswitness_probe.facts import Source
from gaswitness_probe.history import Value
from gaswitness_probe.looks import Look, Looks, Settled
from gaswitness_probe.map_defect import Held, MapDefect, Raw
from gaswitness_probe.map_defects import map_defects
from gaswitness_probe.signal import UNKNOWN, Truth
from gaswitness_probe.survey_value import judge_value
from gaswitness_probe.verdict import Outcome
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.channel import ReadingOnFault
from gaswitness_sitefile.points import Point


@dataclass(frozen=True, slots=True)
class NotShown:
    """A defect that the run cannot have shown: why, and what would show it."""

    kind: str
    place: str
    because: str
    remedy: str


@dataclass(frozen=True, slots=True)
class ShownDefects:
    """`shown`: defects that would have been failed, by kind and place. `not_shown`: those that
    would not. `alike`: those that nothing tells from a good panel, with the reason."""

    shown: tuple[tuple[str, str], ...]
    not_shown: tuple[NotShown, ...]
    alike: tuple[NotShown, ...]

    @property
    def share(self) -> float:
        """Of the defects that can be told from a good panel, the part that would have shown."""
        all_ = len(self.shown) + len(self.not_shown)
        return len(self.shown) / all_ if all_ else 0.0

    def by_kind(self) -> Mapping[str, int]:
        """How many of each kind the run cannot have shown, the most first."""
        return dict(Counter(one.kind for one in self.not_shown).most_common())


def shown_defects(expected: Expectations) -> ShownDefects:
    """What the run would have shown, by the same view of it as the judge's."""
    checks = _Checks(expected.view, Looks(expected))
    shown: list[tuple[str, str]] = []
    not_shown: list[NotShown] = []
    alike: list[NotShown] = []
    for defect in map_defects(expected.view.site):
        if defect.same:
            alike.append(NotShown(defect.kind, defect.place, defect.same, ""))
        elif checks.fail(defect):
            shown.append((defect.kind, defect.place))
        else:
            because, remedy = checks.why_not(defect)
            not_shown.append(NotShown(defect.kind, defect.place, because, remedy))
    return ShownDefects(tuple(shown), tuple(not_shown), tuple(alike))


class _Checks:
    """What the judge and the survey would say of a panel with a defect, look by look."""

    def __init__(self, view: PanelView, looks: Looks) -> None:
        self.view = view
        self.looks = looks
        self.point_of = {point.name: point for point in view.site.points if view.runs(point)}
        self.decoders = {name: decoder(point) for name, point in self.point_of.items()}
        self.sources: dict[str, list[Source]] = {}
        self.facts_of: dict[str, list[str]] = {name: [] for name in self.point_of}
        for fact, sources in view.sources.items():
            read = [source for source in sources if source.point.name in self.point_of]
            self.sources[fact] = read
            for source in read:
                self.facts_of[source.point.name].append(fact)

    def fail(self, defect: MapDefect) -> bool:
        """Whether a panel with the defect would have been failed for what it shows somewhere."""
        points = [self.point_of[name] for name in sorted(defect.points & self.point_of.keys())]
        # The settled readings come first: there are far fewer of them.
        return any(
            self._settled(one, defect)
            for point in points
            for one in self.looks.settled.get(point.name, ())
        ) or any(self._still(look, defect, points) for look in self.looks.still)

    def why_not(self, defect: MapDefect) -> tuple[str, str]:
        """Why nothing would have been failed, and what would change that."""
        points = [self.point_of[name] for name in sorted(defect.points & self.point_of.keys())]
        if not points:
            return "it was never read", "see why the panel does not show it"
        for point in points:
            if point.what == "reading" or not self._differs_anywhere(defect, point):
                continue
            name = point.name
            if self.facts_of[name]:
                return (
                    f"{name} would have shown something else, but for too short a time",
                    f"{defect.remedy}, and let it stand for some seconds",
                )
            return (
                f"{name} would have shown something else, but no rule says what it has to show",
                f"say with 'expect' between which numbers {name} has to stand",
            )
        return defect.unseen, defect.remedy

    def _differs_anywhere(self, defect: MapDefect, point: Point) -> bool:
        return any(
            self._value(defect, held, point) != self.decoders[point.name](raw)
            for look in self.looks.still
            for held in look.held
            if (raw := held.raw(point)) is not None
        )

    def _still(self, look: Look, defect: MapDefect, points: Sequence[Point]) -> bool:
        first = look.held[0]
        turned: list[Point] = []
        for point in points:
            raw = defect.shown(first, point)
            if raw is None:
                # Refused: the survey says so, and nothing is to be judged.
                return look.surveyed
            if raw != first.raw(point):
                if look.surveyed and self._surveyed(point, raw):
                    return True
                turned.append(point)
        facts = dict.fromkeys(fact for point in turned for fact in self.facts_of[point.name])
        return any(self._fact(look, defect, fact) for fact in facts) or any(
            self._state(look, defect, point) for point in turned
        )

    def _surveyed(self, point: Point, raw: Raw) -> bool:
        found = judge_value(self.view.site, point, raw, fault_shown=False)
        return found.outcome is Outcome.FAILED

    def _fact(self, look: Look, defect: MapDefect, fact: str) -> bool:
        """Whether its first point shows the opposite of what it must, or another point of it."""
        sources = self.sources[fact]
        must = look.facts.get(fact, UNKNOWN)
        if all(_opposite(self._meaning(sources[0], defect, held), must) for held in look.held):
            return True
        return any(
            all(
                _opposite(
                    self._meaning(sources[0], defect, held), self._meaning(other, defect, held)
                )
                for held in look.held
            )
            for other in sources[1:]
        )

    def _state(self, look: Look, defect: MapDefect, point: Point) -> bool:
        allowed = look.states.get(point.name)
        return allowed is not None and all(
            self._value(defect, held, point) not in allowed for held in look.held
        )

    def _settled(self, one: Settled, defect: MapDefect) -> bool:
        if one.level is None:
            return all(self._wrong_in_fault(one, defect, held) for held in one.held)
        return all(
            _differs(self._value(defect, held, one.point), one.level, one.margin)
            for held in one.held
        )

    def _wrong_in_fault(self, one: Settled, defect: MapDefect, held: Held) -> bool:
        value = self._value(defect, held, one.point)
        match self.view.site.channel_of[one.point.subject].on_fault:
            case ReadingOnFault.HOLD:
                raw = held.raw(one.point)
                good = None if raw is None else self.decoders[one.point.name](raw)
                return isinstance(good, int | float) and _differs(value, float(good), one.margin)
            case ReadingOnFault.ZERO:
                return _differs(value, 0.0, one.margin)
            case _:
                return value is not None

    def _value(self, defect: MapDefect, held: Held, point: Point) -> Value:
        raw = defect.shown(held, point) if point.name in defect.points else held.raw(point)
        return None if raw is None else self.decoders[point.name](raw)

    def _meaning(self, source: Source, defect: MapDefect, held: Held) -> Truth:
        return source.meaning(self._value(defect, held, source.point))


def _opposite(one: Truth, other: Truth) -> bool:
    return one is not UNKNOWN and other is not UNKNOWN and one is not other


def _differs(value: Value, level: float, margin: float) -> bool:
    """Whether a value is no number, or further than the margin away."""
    return not isinstance(value, int | float) or abs(value - level) > margin
