"""Where things of a chart go from left to right, and the sizes that all its parts share."""

from dataclasses import dataclass
from typing import Final

from gaswitness.chart import Shade
from gaswitness.chart_scale import time_text

WIDTH: Final = 1220.0
LEFT: Final = 240.0
RIGHT: Final = 160.0
ACROSS: Final = WIDTH - LEFT - RIGHT
EDGE: Final = 16.0
SMALL: Final = 11.0
ROW: Final = 15.0
LEAST_WIDTH: Final = 1.5
"""No stretch of time is drawn narrower, so that a single scan's alarm shows."""

INK: Final = "#111111"
FAINT: Final = "#666666"


@dataclass(frozen=True, slots=True)
class Frame:
    """The span of time that goes across the picture. `prefix` keeps its ids apart on a page."""

    from_s: float
    to_s: float
    prefix: str

    def x(self, at_s: float) -> float:
        """Where the instant is, held within the picture."""
        share = (at_s - self.from_s) / (self.to_s - self.from_s)
        return LEFT + ACROSS * min(max(share, 0.0), 1.0)

    def shows(self, from_s: float, to_s: float) -> bool:
        """Whether any of the stretch is in the picture."""
        return to_s >= self.from_s and from_s <= self.to_s

    def fill(self, shade: Shade) -> str:
        """The paint that hatches."""
        return f"url(#{self.prefix}-{shade})"


def span_words(from_s: float, to_s: float) -> str:
    """From when to when, to a tenth of a second."""
    return f"{time_text(from_s, tenths=True)} to {time_text(to_s, tenths=True)}"
