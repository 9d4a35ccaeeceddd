"""How long a detector takes until its reading stands."""

from typing import Final

SETTLING: Final = 3.5
"""Times t90 until a first-order detector is within 0.03 % of its step (10 to the -3.5)."""
