"""Noise as a function of (seed, scan, channel): nothing is drawn, so nothing need be drawn before.

Uniform; a scan's noise of all channels comes at once, since one digest serves them all.
"""

import struct
from hashlib import shake_128


def noise(seed: int, scan: int, channels: int) -> tuple[int, ...]:
    """One number from 0 to 2**32 - 1 a channel."""
    digest = shake_128(b"%d/%d" % (seed, scan)).digest(4 * channels)
    return struct.unpack(f">{channels}I", digest)


def deviation(number: int, largest: float) -> float:
    """The number as a deviation from -largest to +largest."""
    return largest * (number * 2.0**-31 - 1.0)
