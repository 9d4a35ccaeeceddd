"""What the outputs say about the run itself: nothing that depends on the wall clock."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class NamedDigest:
    """A file by its name and the SHA-256 of its content, in hex."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AboutRun:
    """The run that verdicts come from. Times are seconds of the run.

    `command`: rehearse, witness, survey. `panel`: its tag. `link` as in `tcp://192.0.2.10:502/1`,
    or `memory`. `stopped`: why it ended before its scripts did, empty where it did not.
    """

    command: str
    software: str
    panel: str
    site: NamedDigest
    panel_site: NamedDigest | None = None
    scripts: tuple[NamedDigest, ...] = ()
    link: str
    driver: str = ""
    seed: int | None = None
    speed: float = 1.0
    clock: str = ""
    span_s: tuple[float, float] = (0.0, 0.0)
    stopped: str = ""
    remarks: tuple[str, ...] = ()
