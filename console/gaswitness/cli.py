"""The command `gaswitness`: its group, and how every error becomes words and an exit code.

Nothing heavy is imported here: `gaswitness --help` answers at once.
"""

import os
import sys
import traceback
from collections.abc import Sequence
from io import TextIOWrapper

import click

from gaswitness.cautions import IN_SHORT
from gaswitness.exit_codes import ExitCode
from gaswitness.lazy_group import LazyGroup
from gaswitness_sitefile.errors import GaswitnessError


def _check() -> click.Command:
    from gaswitness.command_check import check

    return check


def _schema() -> click.Command:
    from gaswitness.command_schema import schema

    return schema


def _demo() -> click.Command:
    from gaswitness.command_demo import demo

    return demo


def _plan() -> click.Command:
    from gaswitness.command_plan import plan

    return plan


def _rehearse() -> click.Command:
    from gaswitness.command_rehearse import rehearse

    return rehearse


def _serve() -> click.Command:
    from gaswitness.command_serve import serve

    return serve


def _tell() -> click.Command:
    from gaswitness.command_tell import tell

    return tell


def _find() -> click.Command:
    from gaswitness.command_find import find

    return find


def _survey() -> click.Command:
    from gaswitness.command_survey import survey

    return survey


def _witness() -> click.Command:
    from gaswitness.command_witness import witness

    return witness


def _diff() -> click.Command:
    from gaswitness.command_diff import diff

    return diff


def _trace() -> click.Command:
    from gaswitness.command_trace import trace

    return trace


def _verify() -> click.Command:
    from gaswitness.command_verify import verify

    return verify


def _discover() -> click.Command:
    from gaswitness.command_discover import discover

    return discover


def _power() -> click.Command:
    from gaswitness.command_power import power

    return power


def _report() -> click.Command:
    from gaswitness.command_report import report

    return report


def _handover() -> click.Command:
    from gaswitness.command_handover import handover

    return handover


def _tables() -> click.Command:
    from gaswitness.command_tables import tables

    return tables


def _timing() -> click.Command:
    from gaswitness.command_timing import timing

    return timing


EPILOG = (
    "Exit codes: 0 all proven; 1 something failed; 2 wrong usage, site file or script; 3 nothing "
    "failed, but something is inconclusive or not run; 4 no link; 130 stopped by Ctrl-C."
    f"\n\nCaution: {IN_SHORT}"
)

group = LazyGroup(
    {
        "check": ("Load a site file and list what is wrong or doubtful in it.", _check),
        "diff": ("Say what differs between two site files.", _diff),
        "handover": ("Write what a BMS integrator needs: HTML, XLSX and CSV.", _handover),
        "tables": ("Points list and matrix as a workbook to edit, and back.", _tables),
        "discover": ("Make a site file of the detectors that a bus holds.", _discover),
        "power": ("Work out the bus's voltages, drop-outs, spur and battery.", _power),
        "schema": ("Print the JSON Schema of site files, scripts or verdicts.", _schema),
        "demo": ("Write the demo site into a folder, to start your own from.", _demo),
        "plan": ("Write the test from the matrix and the points list.", _plan),
        "rehearse": ("Play scripts against a virtual panel and judge it.", _rehearse),
        "trace": ("Draw what a script does to a virtual panel.", _trace),
        "serve": ("Be a virtual panel on a Modbus/TCP port.", _serve),
        "tell": ("Do things to a served panel, or to its link.", _tell),
        "timing": ("Work out what a link can prove at the site's pace.", _timing),
        "find": ("Find who answers on a line or behind a gateway.", _find),
        "survey": ("Check a panel's register map, and nothing else.", _survey),
        "witness": ("Run scripts against a panel and judge it.", _witness),
        "report": ("Make the report of a run from its evidence.", _report),
        "verify": ("Check that a record of evidence stands, and judge it again.", _verify),
    },
    name="gaswitness",
    help="Prove that a fixed gas-detection panel does over Modbus what its site file says: "
    "points, alarm levels, and every cell of its cause-and-effect matrix.",
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
click.version_option(package_name="gaswitness", message="gaswitness %(version)s")(group)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line, and exit."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # A terminal of few characters shows an escape for the others; it must not end a run.
            stream.reconfigure(errors="backslashreplace")
    sys.exit(int(run(sys.argv[1:] if arguments is None else arguments)))


def run(arguments: Sequence[str]) -> ExitCode:
    """Run one command; returns its exit code. Errors are words on stderr."""
    try:
        code = group.main(list(arguments), prog_name="gaswitness", standalone_mode=False)
        sys.stdout.flush()
        return ExitCode(code or 0)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return ExitCode.WRONG_USE
    except click.ClickException as error:
        error.show()
        return ExitCode.WRONG_USE
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped", err=True)
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; Python would complain again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.NO_READER
    except GaswitnessError as error:
        click.echo(str(error), err=True)
        return _code_of(error)
    except Exception:  # noqa: BLE001  # a defect of ours: say so, with all that mends it
        traceback.print_exc()
        click.echo("gaswitness: this is a defect of the program; please report it", err=True)
        return ExitCode.INTERNAL


def _code_of(error: GaswitnessError) -> ExitCode:
    from gaswitness_probe.errors import LinkError

    return ExitCode.NO_LINK if isinstance(error, LinkError) else ExitCode.WRONG_USE
