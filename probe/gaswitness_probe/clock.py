"""What the probe asks of a clock. Who makes one lives above; nothing here reads the wall clock."""

from typing import Protocol


class Clock(Protocol):
    """The run's time, in seconds of the run ("panel seconds")."""

    def now(self) -> float:
        """The present instant."""
        ...

    async def sleep_until(self, at_s: float) -> None:
        """Return at `at_s`, at once where it is past."""
        ...
