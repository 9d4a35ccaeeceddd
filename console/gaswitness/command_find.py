"""`gaswitness find`: who answers on a line or behind a gateway, and at which settings."""

import re
import sys
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Any, Final

import click

from gaswitness.cautions import BEFORE_A_SEARCH
from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness_probe.find import Findings, Heard
    from gaswitness_probe.find_plan import Search
    from gaswitness_sitefile.link_address import LinkAddress, SerialLine

LONGEST_LINE: Final = 100


class Units(click.ParamType[tuple[int, ...]]):
    """Unit ids as `1-32,247`."""

    name = "U"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, ...]:
        """Read numbers and ranges from 0 to 255."""
        if isinstance(value, tuple):
            return value
        found: list[int] = []
        for part in value.split(","):
            ends = re.fullmatch(r"\s*(\d{1,3})(?:\s*-\s*(\d{1,3}))?\s*", part)
            first = int(ends[1]) if ends else -1
            last = int(ends[2] or first) if ends else -1
            if not 0 <= first <= last <= 255:
                self.fail(f"{part!r}: write unit ids as 1-32 or 1,5,247", param, ctx)
            found.extend(range(first, last + 1))
        return tuple(found)


@click.command(short_help="Find who answers on a line or behind a gateway, and at which settings.")
@click.option(
    "--link",
    required=True,
    metavar="L",
    help="rtu:///dev/ttyUSB0 or rtu:COM3 (what ?baud=, &parity=, &stop= state is not varied), "
    "rtu+tcp://HOST:PORT, tcp://HOST or tls://HOST.",
)
@click.option(
    "--units",
    type=Units(),
    help="Unit ids to try. [default: 1-32,247 on a serial line; 1-247,255,0 over a network]",
)
@click.option(
    "--timeout-s",
    type=click.FloatRange(0.02, 10.0),
    default=0.3,
    show_default=True,
    help="How long each try waits for an answer.",
)
@click.option("--yes", "agreed", is_flag=True, help="Begin without asking.")
def find(*, link: str, units: tuple[int, ...] | None, timeout_s: float, agreed: bool) -> ExitCode:
    """Try baud rates, parities, stop bits and unit ids, the likeliest first, and tell who answers.

    Reads one register and the identification, one request at a time. Exit codes: 0 found; 3 nothing
    certain; 4 no link.
    """
    from gaswitness_scenarios.find import find as run_find

    address, search = _planned(link, units, timeout_s)
    _before(address, search)
    if not agreed:
        if not sys.stdin.isatty():
            raise click.UsageError("nobody is here to agree: write --yes to begin without asking")
        click.confirm("Begin?", abort=True)
    findings = run_find(address, search, _teller())
    return _conclude(findings)


def _planned(
    link: str, units: tuple[int, ...] | None, timeout_s: float
) -> "tuple[LinkAddress, Search]":
    from gaswitness_probe.find_plan import (
        FIRST_LINES,
        GATEWAY_UNITS,
        LIKELY_UNITS,
        UNITS,
        Search,
        in_order,
    )
    from gaswitness_sitefile.link_address import parse_link

    try:
        address = parse_link(link)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--link") from error
    if address.unit is not None and units is None:
        units = (address.unit,)
    if not address.on_serial_line:
        wanted = in_order(tuple(UNITS)) + GATEWAY_UNITS if units is None else in_order(units)
        if address.rtu_framed:
            wanted = tuple(unit for unit in wanted if unit in UNITS)
        return address, Search((None,), _some(wanted), timeout_s)
    wanted = tuple(unit for unit in in_order(units or LIKELY_UNITS) if unit in UNITS)
    lines = tuple(line for line in FIRST_LINES if _as_stated(line, address, link))
    return address, Search(lines or (address.serial,), _some(wanted), timeout_s)


def _some(units: tuple[int, ...]) -> tuple[int, ...]:
    if not units:
        raise click.BadParameter(
            "no unit id of a single device among them: on a line these are 1 to 247",
            param_hint="--units",
        )
    return units


def _as_stated(line: "SerialLine", address: "LinkAddress", written: str) -> bool:
    """Whether the settings are those that the address itself writes out."""
    stated = address.serial
    return stated is None or all(
        f"{name}=" not in written or getattr(line, name) == getattr(stated, name)
        for name in ("baud", "parity", "stop")
    )


def _before(address: "LinkAddress", search: "Search") -> None:
    columns = min(get_terminal_size().columns, LONGEST_LINE)
    click.echo("Before you begin:")
    for line in BEFORE_A_SEARCH:
        click.echo(click.wrap_text(line, columns, "- ", "  "))
    click.echo()
    settings = ""
    if address.on_serial_line:
        settings = f" at {len(search.lines)} settings ({', '.join(map(_short, search.lines))})"
    plan = (
        f"Link {address.device or f'{address.host}:{address.port}'}: {len(search.units)} unit ids"
        f"{settings}. At most {search.count} tries, {_lasting(search.longest_s)} where nothing "
        "answers; what answers is asked five times more. Ctrl-C stops it."
    )
    click.echo(click.wrap_text(plan, columns))


def _short(line: "SerialLine | None") -> str:
    return "" if line is None else f"{line.baud} 8{line.parity[0].upper()}{line.stop}"


def _lasting(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _teller() -> Any:
    from gaswitness_probe.find import Told

    def line(settings: "SerialLine | None") -> None:
        if settings is not None:
            click.echo(f"{_short(settings)} ...", err=True)

    def heard(one: "Heard") -> None:
        click.echo(_words(one))

    return Told(line, heard)


def _words(one: "Heard") -> str:
    from gaswitness_probe.find_plan import chance

    where = f"unit {one.unit}" + ("" if one.line is None else f" at {_short(one.line)}")
    who = one.identity or "does not say who it is"
    sure = f"{one.answers} of {one.asked} reads answered"
    if one.line is not None:
        sure += f" with a right CRC; by chance {chance(one.answers):.1g}"
    doubt = "" if one.certain else " (not certain)"
    return f"{where}{doubt}: {who}; holding register 0: {one.register}; {sure}"


def _conclude(findings: "Findings") -> ExitCode:
    click.echo(f"{findings.tried} tries made, {len(findings.heard)} units heard.")
    if findings.any_unit:
        click.echo("It answers whichever unit id is asked: the unit id tells nothing here.")
    if findings.turned_away:
        click.echo(
            f"A gateway answered {findings.turned_away} times that it cannot reach the unit."
        )
    if findings.late:
        click.echo(f"{findings.late} answers came too late: try again with a longer --timeout-s.")
    for line, count in findings.garbled.items():
        where = "" if line is None else f" at {_short(line)}"
        click.echo(
            f"Bytes came that are no reply, {count} times{where}: another master or a device at "
            "other settings, or noise (wires, termination, bias)."
        )
    if findings.certain:
        return ExitCode.ALL_PROVEN
    click.echo("Nothing certain was found.")
    return ExitCode.SOMETHING_OPEN
