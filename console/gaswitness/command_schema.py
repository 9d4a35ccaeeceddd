"""`gaswitness schema`: the JSON Schemas, for editors and for readers of verdicts.json."""

import json
from typing import Any

import click


@click.command(short_help="Print the JSON Schema of site files, scripts or verdicts.")
@click.option("--site", "which", flag_value="site", default=True, help="Of site files (default).")
@click.option("--script", "which", flag_value="script", help="Of scripts.")
@click.option("--equipment", "which", flag_value="equipment", help="Of equipment files.")
@click.option("--verdicts", "which", flag_value="verdicts", help="Of verdicts.json.")
@click.option("--report", "which", flag_value="report", help="Of report.json.")
def schema(which: str) -> None:
    """Print a JSON Schema (draft 2020-12)."""
    click.echo(json.dumps(_schema_of(which), indent=2, ensure_ascii=False))


def _schema_of(which: str) -> dict[str, Any]:
    if which == "verdicts":
        from gaswitness.verdicts_json import verdicts_schema

        return verdicts_schema()
    if which == "report":
        from gaswitness.report_json import report_schema

        return report_schema()
    if which == "script":
        from gaswitness_scenarios.schema import script_schema

        return script_schema()
    if which == "equipment":
        from gaswitness_scenarios.schema import equipment_schema

        return equipment_schema()
    from gaswitness_sitefile.schema import site_schema

    return site_schema()
