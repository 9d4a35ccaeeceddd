"""What people have to look at, and when, so that an effect that no point shows can be timed.

A single look tells how an output stands, not when it moved: that lies between two of them.
"""

from typing import Literal

from gaswitness_probe.expect import CellView


def unshown(cell: CellView) -> bool:
    """Whether no point that was read shows the cell's output, so that only people see it."""
    return cell.expectations.view.source(f"{cell.cell.effect}.active") is None


def looks_needed(cell: CellView, name: Literal["rises", "releases"]) -> str:
    """The two looks between which the effect has to come, or to go, in words."""
    tag, cause = cell.cell.effect, cell.cell.cause
    allowed, moves = (cell.rise, "comes") if name == "rises" else (cell.release, "goes off")
    before, after = ("at rest", "acting") if name == "rises" else ("acting", "at rest")
    if allowed.low > 0:
        first = f"still {before} no sooner than {allowed.low:g} s after {cause} {moves}"
    else:
        first = f"{before} just before {cause} {moves}"
    return (
        f"one look cannot tell when it moved: a person has to find {tag} {first}, "
        f"and {after} within {allowed.high:g} s of it"
    )
