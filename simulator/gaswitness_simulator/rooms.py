"""The air of a panel's rooms: leaks, fans and purges in, shares of each gas over time out.

Time is an argument; between two changes of a flow the air follows a closed form. Knows no detector.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from gaswitness_simulator.mixing import Mixed, Modes
from gaswitness_sitefile.rooms import Exchange, Room, gas_key

_S_PER_H = 3600.0


@dataclass(slots=True)
class Rooms:
    """`begun_s`: since when the present flows hold. `airs`: of each gas, how every room goes on
    from there, in shares of the volume. `leaks`: m3/s by room and gas; `purges`: by room."""

    facts: tuple[Room, ...]
    openings_m3_s: tuple[tuple[int, int, float], ...]
    begun_s: float = 0.0
    running: frozenset[str] = frozenset()
    leaks: dict[tuple[int, str], float] = field(default_factory=dict)
    purges: dict[int, float] = field(default_factory=dict)
    airs: dict[str, tuple[Mixed, ...]] = field(default_factory=dict)

    @classmethod
    def of(
        cls, rooms: Sequence[Room], exchanges: Sequence[Exchange], gases: Iterable[str]
    ) -> "Rooms":
        """The rooms as they are at rest, in fresh air; `gases` are all that will be asked for."""
        index = {room.tag: i for i, room in enumerate(rooms)}
        openings = tuple(
            (index[one.between[0]], index[one.between[1]], one.flow_m3_h / _S_PER_H)
            for one in exchanges
        )
        made = cls(tuple(rooms), openings)
        made.airs = {
            gas_key(gas): tuple(Mixed(1e-6 * room.background_of(gas)) for room in rooms)
            for gas in gases
        }
        made._solve(0.0)
        return made

    def index(self, tag: str) -> int:
        """The room's place. ValueError where there is no such room."""
        for i, room in enumerate(self.facts):
            if room.tag == tag:
                return i
        raise ValueError(f"this panel has no room {tag!r}")

    def share(self, tag: str, gas: str, at_s: float) -> float:
        """The share of the room's volume that is the gas, 0 to 1."""
        return self.airs[gas_key(gas)][self.index(tag)].at(at_s - self.begun_s)

    def leak(self, tag: str, gas: str, flow_m3_s: float, at_s: float) -> None:
        """From now on so much gas leaks into the room; 0 stops it. It drives as much air out."""
        where = (self.index(tag), gas_key(gas))
        if gas_key(gas) not in self.airs:
            self.airs[gas_key(gas)] = tuple(
                Mixed(1e-6 * room.background_of(gas)) for room in self.facts
            )
        self.leaks[where] = flow_m3_s
        self._solve(at_s)

    def purge(self, tag: str, flow_m3_s: float, at_s: float) -> None:
        """From now on so much more fresh air goes through the room; 0 stops it."""
        self.purges[self.index(tag)] = flow_m3_s
        self._solve(at_s)

    def run(self, running: frozenset[str], at_s: float) -> bool:
        """Say which outputs' devices run. Says whether any air goes on otherwise."""
        fans = {tag for room in self.facts for tag in room.fans}
        if running & fans == self.running & fans:
            return False
        self.running = running
        self._solve(at_s)
        return True

    def _fresh_m3_s(self, i: int) -> float:
        room = self.facts[i]
        changes = room.air_changes_per_h
        changes += sum(more for tag, more in room.fans.items() if tag in self.running)
        return changes * room.volume_m3 / _S_PER_H + self.purges.get(i, 0.0)

    def _solve(self, at_s: float) -> None:
        u = at_s - self.begun_s
        fresh = [self._fresh_m3_s(i) for i in range(len(self.facts))]
        leaking = [0.0] * len(self.facts)
        for (i, _), flow in self.leaks.items():
            leaking[i] += flow
        outflows = [one + more for one, more in zip(fresh, leaking, strict=True)]
        modes = Modes.of([room.volume_m3 for room in self.facts], outflows, self.openings_m3_s)
        for gas, airs in self.airs.items():
            now = [min(1.0, max(0.0, air.at(u))) for air in airs]
            sources = [
                flow * 1e-6 * self.facts[i].background_of(gas) + self.leaks.get((i, gas), 0.0)
                for i, flow in enumerate(fresh)
            ]
            self.airs[gas] = modes.mixed(now, sources)
        self.begun_s = at_s


def seen_by(rooms: Rooms, tag: str, per_share: Mapping[str, float], at_s: float) -> Mixed:
    """What a detector in the room meets from `at_s` on, in the detector's unit.

    `per_share`: what the whole volume being that gas would make the detector show.
    """
    i, u = rooms.index(tag), at_s - rooms.begun_s
    level = 0.0
    terms: list[tuple[float, float]] = []
    for gas, factor in per_share.items():
        air = rooms.airs[gas][i].later(u)
        level += factor * air.level
        terms += [(factor * amplitude, tau_s) for amplitude, tau_s in air.terms]
    return Mixed(level, tuple(terms))
