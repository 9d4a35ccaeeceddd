"""Rooms as mixed volumes that exchange air, solved exactly for as long as no flow changes.

V_i dx_i/dt = s_i + sum_j F_ij (x_j - x_i) - k_i x_i, with s_i what gas comes in and k_i what air
goes out. Since an opening lets as much through either way the system is symmetric when scaled by
the roots of the volumes, so its modes are real: every room is a sum of falling exponentials.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

Matrix = list[list[float]]

STILL: float = 1e-15
"""A mode slower than this, in 1/s, does not move: rounding in a room that is tight."""


@dataclass(frozen=True, slots=True)
class Modes:
    """The network's own motions. `rates`: each mode's, in 1/s. `shapes[i][m]`: of mode m in room i,
    scaled by the root of the volume."""

    roots: tuple[float, ...]
    rates: tuple[float, ...]
    shapes: tuple[tuple[float, ...], ...]

    @classmethod
    def of(
        cls,
        volumes_m3: Sequence[float],
        outflows_m3_s: Sequence[float],
        openings_m3_s: Sequence[tuple[int, int, float]],
    ) -> "Modes":
        """`openings_m3_s`: (room, room, flow each way)."""
        size = len(volumes_m3)
        flows: Matrix = [[0.0] * size for _ in range(size)]
        for i, flow in enumerate(outflows_m3_s):
            flows[i][i] += flow
        for i, j, flow in openings_m3_s:
            flows[i][i] += flow
            flows[j][j] += flow
            flows[i][j] -= flow
            flows[j][i] -= flow
        roots = tuple(math.sqrt(volume) for volume in volumes_m3)
        scaled = [[flows[i][j] / (roots[i] * roots[j]) for j in range(size)] for i in range(size)]
        rates, shapes = eigen(scaled)
        return cls(roots, tuple(max(0.0, rate) for rate in rates), shapes)

    def mixed(self, now: Sequence[float], sources_m3_s: Sequence[float]) -> tuple["Mixed", ...]:
        """How each room goes on from the shares `now`, gas coming in at `sources_m3_s`."""
        size = len(now)
        levels = [0.0] * size
        terms: list[list[tuple[float, float]]] = [[] for _ in range(size)]
        for m, rate in enumerate(self.rates):
            shape = [self.shapes[i][m] for i in range(size)]
            first = sum(shape[i] * self.roots[i] * now[i] for i in range(size))
            source = sum(shape[i] * sources_m3_s[i] / self.roots[i] for i in range(size))
            # Nothing flows out of such a mode, so nothing is let into it either.
            steady = first if rate <= STILL else source / rate
            for i in range(size):
                share = shape[i] / self.roots[i]
                levels[i] += share * steady
                if rate > STILL and share * (first - steady) != 0.0:
                    terms[i].append((share * (first - steady), 1.0 / rate))
        return tuple(Mixed(levels[i], tuple(terms[i])) for i in range(size))


@dataclass(frozen=True, slots=True)
class Mixed:
    """level + sum of amplitude exp(-u / tau_s) over `terms` of (amplitude, tau_s)."""

    level: float
    terms: tuple[tuple[float, float], ...] = ()

    def at(self, u: float) -> float:
        return self.level + sum(a * math.exp(-u / tau_s) for a, tau_s in self.terms)

    def later(self, u: float) -> "Mixed":
        """The same, counted from `u` on."""
        if not self.terms or u == 0.0:
            return self
        return Mixed(self.level, tuple((a * math.exp(-u / tau), tau) for a, tau in self.terms))


def eigen(
    symmetric: Sequence[Sequence[float]],
) -> tuple[list[float], tuple[tuple[float, ...], ...]]:
    """(eigenvalues, eigenvectors in columns) of a symmetric matrix, by Jacobi's rotations."""
    size = len(symmetric)
    a: Matrix = [list(row) for row in symmetric]
    v: Matrix = [[float(i == j) for j in range(size)] for i in range(size)]
    scale = max((abs(x) for row in a for x in row), default=0.0)
    for _ in range(60):
        off = max((abs(a[i][j]) for i in range(size) for j in range(i)), default=0.0)
        if off <= 1e-300 + 1e-17 * scale:
            break
        for p in range(size):
            for q in range(p + 1, size):
                _rotate(a, v, p, q)
    return [a[i][i] for i in range(size)], tuple(tuple(row) for row in v)


def _rotate(a: Matrix, v: Matrix, p: int, q: int) -> None:
    """Turn rows and columns p and q so that a[p][q] becomes 0."""
    if a[p][q] == 0.0:
        return
    theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q])
    t = math.copysign(1.0, theta) / (abs(theta) + math.hypot(theta, 1.0))
    c = 1.0 / math.hypot(t, 1.0)
    s = t * c
    for k in range(len(a)):
        a[k][p], a[k][q] = c * a[k][p] - s * a[k][q], s * a[k][p] + c * a[k][q]
    for k in range(len(a)):
        a[p][k], a[q][k] = c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]
        v[k][p], v[k][q] = c * v[k][p] - s * v[k][q], s * v[k][p] + c * v[k][q]
    a[p][q] = a[q][p] = 0.0
