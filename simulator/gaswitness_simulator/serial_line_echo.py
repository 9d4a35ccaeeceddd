"""Local echo: a two-wire converter may hear what it sends itself. Pure.

A panel that took its own answers for requests would answer itself for ever: those to writes are the
same bytes as their requests.
"""

from typing import Final

ECHO_LATE_S: Final = 0.030
"""How long after its last bit an echo may still come up from a converter on USB."""


class Echo:
    """Takes out of what is heard what has just been sent.

    A line where an answer was once not followed by itself has no echo, and is left alone for good.
    """

    def __init__(self) -> None:
        self._expected = b""
        self._held = b""
        self._until_s = 0.0
        self._none_here = False

    def sent(self, data: bytes, begins_s: float, ends_s: float) -> None:
        """These bytes are under way, from `begins_s` to `ends_s`."""
        if not self._none_here:
            awaited = self._expected if begins_s <= self._until_s else b""
            self._expected = awaited + data
            self._held = self._held if awaited else b""
            self._until_s = ends_s + ECHO_LATE_S

    def without(self, data: bytes, now_s: float) -> bytes:
        """What was heard, the echo left out."""
        if not self._expected:
            return data
        heard, self._held = self._held + data, b""
        if now_s > self._until_s:
            self._expected = b""
            return heard
        if heard.startswith(self._expected):
            rest = heard[len(self._expected) :]
            self._expected = b""
            return rest
        if self._expected.startswith(heard):
            self._held = heard
            return b""
        self._none_here = heard[:1] != self._expected[:1]
        self._expected = b""
        return heard
