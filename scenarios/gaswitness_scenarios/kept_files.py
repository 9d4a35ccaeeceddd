"""Site and scripts of a record, loaded anew from the files that it keeps whole."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from gaswitness_probe.evidence_entries import KeptFile, RunFacts
from gaswitness_probe.evidence_file import EvidenceError
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.script import Script
from gaswitness_sitefile.load import LoadedSite, load_site
from gaswitness_sitefile.site import Site

_DEEP = Path("a/b/c/d/e/f")
"""A site file may name tables in folders above its own: they must stay within the temporary one."""


def kept_site(facts: RunFacts) -> LoadedSite:
    """The site of the run. Raises SiteFileError where it is no good site (any more), EvidenceError
    where it is not the one whose digest the record states."""
    if not facts.site_files:
        raise EvidenceError("the record keeps no site file")
    with TemporaryDirectory(prefix="gaswitness-") as folder:
        written = _written(facts.site_files, Path(folder))
        loaded = load_site(written)
    if loaded.sha256 != facts.site_sha256:
        raise EvidenceError(
            f"the site files kept have the digest {loaded.sha256}, and the record states "
            f"{facts.site_sha256}"
        )
    return replace(loaded, path=Path(facts.site_file))


def kept_scripts(facts: RunFacts, site: Site) -> tuple[Script, ...]:
    """The scripts of the run, each with its traces. Raises ScriptError, EvidenceError."""
    return tuple(_script(files, site) for files in _by_script(facts.scripts))


def _script(files: Sequence[KeptFile], site: Site) -> Script:
    with TemporaryDirectory(prefix="gaswitness-") as folder:
        return load_script(_written(files, Path(folder)), site)


def _by_script(files: Sequence[KeptFile]) -> Iterator[list[KeptFile]]:
    """A script's file stands before those of its traces, which are tables."""
    found: list[KeptFile] = []
    for kept in files:
        if found and not kept.name.lower().endswith(".csv"):
            yield found
            found = []
        found.append(kept)
    if found:
        yield found


def _written(files: Sequence[KeptFile], folder: Path) -> Path:
    """All files written into the folder as their names have it; the first of them."""
    top = folder.resolve()
    paths = []
    for kept in files:
        try:
            path = (top / _DEEP / kept.name).resolve()
            if not path.is_relative_to(top):
                raise ValueError("it lies outside")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(kept.content)
        except (OSError, ValueError) as error:
            words = f"the record keeps a file of the name {kept.name!r}: no such place ({error})"
            raise EvidenceError(words) from error
        paths.append(path)
    return paths[0]
