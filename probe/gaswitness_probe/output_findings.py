"""What is found of an output and its cells while they are judged: aspects, gathered. No rules."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gaswitness_probe.expect import CellView
from gaswitness_probe.look_advice import looks_needed, unshown
from gaswitness_probe.output_time import MINIMUM, PULSE
from gaswitness_probe.provable import Provable
from gaswitness_probe.verdict import Aspect, Outcome


@dataclass
class Findings:
    """Aspects gathered for the cells of an output, and for the output itself.

    `in_advance`: what could be proven of each cell, by its id. `released`: ids of cells that were
    seen to let go with their cause while nobody pressed reset.
    """

    in_advance: Mapping[str, Provable]
    of_cell: dict[str, list[Aspect]] = field(default_factory=dict)
    of_output: list[Aspect] = field(default_factory=list)
    released: set[str] = field(default_factory=set)

    def cell(self, view: CellView, aspect: Aspect) -> None:
        self.of_cell.setdefault(view.cell.id, []).append(aspect)

    def to_settle(self, view: CellView) -> str:
        """What would settle a response that samples or looks leave in doubt."""
        if unshown(view):
            return looks_needed(view, "rises")
        said = self.in_advance[view.cell.id].words
        return said or "poll faster to settle it"

    def lets_go(self, view: CellView) -> bool:
        return view.cell.id in self.released or any(
            aspect.outcome is Outcome.PROVEN and aspect.name in ("reset", PULSE, MINIMUM)
            for aspect in self.of_cell.get(view.cell.id, [])
        )
