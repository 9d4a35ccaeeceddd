"""Options that several commands have, and how their values are read."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from gaswitness_sitefile.link_address import LinkAddress
    from gaswitness_sitefile.link_fault import LinkFault

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

SCRIPT: Decorator = click.option(
    "--script",
    "scripts",
    multiple=True,
    metavar="S",
    help="A script: a file, or the name of one in scripts/ beside the site file. May be repeated.",
)
SEED: Decorator = click.option(
    "--seed", type=int, default=0, show_default=True, help="Of the virtual panel's noise and phase."
)
OUT: Decorator = click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder for the run's files, new or empty. [default: ./gaswitness-run-TAG-NNN]",
)
QUIET: Decorator = click.option("--quiet", "-q", is_flag=True, help="Print the conclusion alone.")
LINK: Decorator = click.option(
    "--link",
    required=True,
    metavar="L",
    help="tcp://HOST[:PORT][/UNIT], tls://..., rtu+tcp://HOST:PORT, a serial line as "
    "rtu:///dev/ttyUSB0?baud=19200 or rtu:COM3, or the name of a link in the site file.",
)


class Speed(click.ParamType[float]):
    """Panel seconds in a real second, above 0."""

    name = "N"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read a number above 0."""
        try:
            speed = float(value)
        except ValueError:
            speed = 0.0
        if not 0 < speed <= 10_000:
            self.fail(f"{value!r} is no speed: write a number above 0, such as 10", param, ctx)
        return speed


class Listen(click.ParamType["LinkAddress"]):
    """HOST:PORT, or any link."""

    name = "LINK"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> "LinkAddress":
        """Read `HOST:PORT`, the host in brackets where it is IPv6, or a link address."""
        from gaswitness_sitefile.link_address import LinkAddress, parse_link

        if isinstance(value, LinkAddress):
            return value
        if "://" in value or value.lower().startswith("rtu:"):
            try:
                return parse_link(value, any_port=True)
            except ValueError as error:
                self.fail(str(error), param, ctx)
        found = re.fullmatch(
            r"(?:\[(?P<v6>[0-9A-Fa-f:.]+)\]|(?P<host>[^:\s]+)):(?P<port>\d{1,5})", value
        )
        if found is None or int(found["port"]) > 65535:
            self.fail(
                f"{value!r}: write HOST:PORT, for example 127.0.0.1:5020, or a link", param, ctx
            )
        return LinkAddress("tcp", found["v6"] or found["host"], int(found["port"]))


class Fault(click.ParamType["LinkFault"]):
    """A link fault on one line."""

    name = "FAULT"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> "LinkFault":
        """Read a link fault."""
        from gaswitness_sitefile.link_fault import LinkFault
        from gaswitness_sitefile.link_fault_text import parse_link_fault

        if isinstance(value, LinkFault):
            return value
        try:
            return parse_link_fault(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


FAULT: Decorator = click.option(
    "--fault",
    "faults",
    type=Fault(),
    multiple=True,
    help='What the link does wrong, such as "late 0.2..1.5 s, 5 %"; may be given more than once. '
    "`gaswitness serve --help` lists the kinds.",
)


class LatencyMs(click.ParamType[tuple[float, float]]):
    """LO:HI, in milliseconds."""

    name = "LO:HI"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float]:
        """Read two milliseconds as seconds."""
        if isinstance(value, tuple):
            return value
        try:
            low, high = (float(part) / 1000 for part in value.split(":"))
        except ValueError:
            low, high = 1.0, 0.0
        if not 0 <= low <= high < 3600:
            self.fail(f"{value!r}: write LO:HI in milliseconds, for example 2:20", param, ctx)
        return low, high
