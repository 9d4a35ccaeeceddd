"""`gaswitness discover`: a site file from what the detectors on a bus were configured to be."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gaswitness.exit_codes import ExitCode

if TYPE_CHECKING:
    from gaswitness_sitefile.first_setup import FirstSetup

HEAD = """\
# Made by `gaswitness discover` from the bus of {panel}: the setup that a panel makes of the
# detectors it finds. A beginning, not a design. Alarm levels, effects and times come from the risk
# assessment of the real place, from local codes, and from people who are licensed to decide.
# Relays at detectors act on the second level, beacons and sounders on the first; one relay is kept
# for any fault and one for any first-level alarm: common practice, no source.
#
"""


@click.command(short_help="Make a site file of the detectors that a bus holds.")
@click.argument("site")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write to this new file.")
def discover(site: str, output: Path | None) -> ExitCode:
    """Build channels, alarm levels, outputs, matrix and map from what the detectors on the bus of
    SITE (a file, its folder, or the word demo) were configured to be before they came to site.

    Prints a whole site file, or writes it with -o; `gaswitness diff` then shows how the stored
    setup differs. Nothing is on a wire. Exit codes: 0 done; 2 wrong usage, or a site without a bus.
    """
    from gaswitness.site_argument import loaded_site
    from gaswitness_sitefile.errors import GaswitnessError
    from gaswitness_sitefile.first_setup import first_setup

    loaded = loaded_site(site)
    if loaded.site.bus is None:
        raise GaswitnessError(
            f"{loaded.path}: no bus, so that there is nothing to discover: write the section 'bus'"
        )
    text = _text(first_setup(loaded.site), loaded.site.panel.tag)
    if output is None:
        click.echo(text, nl=False)
        return ExitCode.ALL_PROVEN
    try:
        with output.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise GaswitnessError(f"{output} is there already: name a new file") from error
    except OSError as error:
        raise GaswitnessError(f"{output} cannot be written ({error.strerror})") from error
    click.echo(f"{output}: written; gaswitness check {output}")
    return ExitCode.ALL_PROVEN


def _text(made: "FirstSetup", panel: str) -> str:
    from io import StringIO

    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.width = 100
    out = StringIO()
    yaml.dump(made.data, out)
    remarks = "".join(f"# {remark}\n" for remark in made.remarks)
    return HEAD.format(panel=panel) + remarks + out.getvalue()
