"""Reading a script file: one call from path to checked steps, or every error at once."""

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from pydantic import ValidationError

from gaswitness_scenarios.build import Builder
from gaswitness_scenarios.schedule import Scheduler
from gaswitness_scenarios.script import Script, Step
from gaswitness_scenarios.script_file import ScriptRecord
from gaswitness_sitefile.document import Document, read_document
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Problem
from gaswitness_sitefile.site import Site
from gaswitness_sitefile.source_file import SourceFile


class ScriptError(SiteFileError):
    """A script, or a trace that it plays, is wrong. `problems` holds all of them."""


def load_script(path: Path, site: Site) -> Script:
    """Read a script, unroll its loops and check it against the site.

    Raises ScriptError with every problem, each with its place and a remedy.
    """
    try:
        document = read_document(path, "script")
    except SiteFileError as error:
        raise ScriptError(error.problems) from error
    try:
        record = document.validated(ScriptRecord)
    except SiteFileError as error:
        raise ScriptError([*error.problems, *_further(document, site)]) from error
    return _expanded(document, record, site)


def _further(document: Document, site: Site) -> Sequence[Problem]:
    """What is wrong with the steps that can be read, where others cannot."""
    data = document.data
    if not isinstance(data, dict) or not isinstance(data.get("steps"), list):
        return ()
    frame = {"gaswitness_script": 1, "title": "-"}
    steps = [step if _reads(frame | {"steps": [step]}) else {"say": "-"} for step in data["steps"]]
    record = ScriptRecord.model_validate(frame | {"steps": steps or [{"say": "-"}]})
    try:
        _expanded(document, record, site)
    except ScriptError as error:
        return error.problems
    return ()


def _reads(data: dict[str, object]) -> bool:
    try:
        ScriptRecord.model_validate(data)
    except ValidationError:
        return False
    return True


def _expanded(document: Document, record: ScriptRecord, site: Site) -> Script:
    scheduler = Scheduler(site, document.place)
    planned = scheduler.run(record)
    name = document.path.stem
    builder = Builder(site, name, document.path.parent, document.place)
    steps: list[Step] = []
    for one in planned:
        steps.extend(builder.steps(one))
    builder.check_claims()
    problems = [*scheduler.problems, *builder.problems]
    if problems:
        raise ScriptError(problems)
    traces = [found[1] for found in builder.traces.values() if found is not None]
    files = (document.source, *traces)
    return Script(
        name=name,
        title=record.title,
        text=record.text.strip(),
        steps=tuple(steps),
        length_s=max(step.end_s for step in steps),
        sha256=_digest(files),
        files=files,
    )


def _digest(files: tuple[SourceFile, ...]) -> str:
    """Over names and contents; the script's own name does not count."""
    lines = [files[0].sha256, *(f"{one.name}\0{one.sha256}" for one in files[1:])]
    return sha256("\n".join(lines).encode()).hexdigest()
