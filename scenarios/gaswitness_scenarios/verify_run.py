"""What a record can be held to: its file's digest, chain, site, samples and verdicts."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from gaswitness_probe.evidence_file import EvidenceError, digest_path
from gaswitness_probe.evidence_read import ChainReport, read_rows, verify_chain
from gaswitness_probe.evidence_whole import is_whole
from gaswitness_probe.kept_exchange import OutOfStepError
from gaswitness_probe.verdict import Verdict
from gaswitness_scenarios.agreement import Difference, differences
from gaswitness_scenarios.facts_of_run import software
from gaswitness_scenarios.judged_again import SURVEYED, JudgedAgain, judged_again
from gaswitness_scenarios.kept_run import KeptRun, read_run
from gaswitness_sitefile.errors import GaswitnessError, SiteFileError
from gaswitness_sitefile.load import LoadedSite


class What(StrEnum):
    """What is checked, in this order."""

    FILE = "file"
    CHAIN = "chain"
    SITE = "site"
    SAMPLES = "samples"
    VERDICTS = "verdicts"


class State(StrEnum):
    """What a check came to; `open` where there was nothing to hold it to."""

    STANDS = "stands"
    FAILS = "FAILS"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Check:
    """One check. `words` say what was found, `details` which parts differ."""

    what: What
    state: State
    words: str
    details: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """All checks of one record. `digest`: the chain of its last entry that stands, in hex.
    `retest_of`: that of the record of which this one is a retest, where it is one."""

    path: Path
    checks: tuple[Check, ...]
    digest: str
    retest_of: str = ""

    @property
    def holds(self) -> bool:
        """Whether nothing was found wrong."""
        return all(check.state is not State.FAILS for check in self.checks)


def verify_run(
    path: Path, *, head: str | None = None, site: LoadedSite | None = None, chain_only: bool = False
) -> Report:
    """Check a record. `head`: the digest that the run printed at its end; `site`: the one that it
    is to have been made with.

    Raises EvidenceError where the file is no record, and nothing says that it ever was one.
    """
    checks = [_file(path)]
    try:
        chain = verify_chain(path, head=head)
    except EvidenceError as error:
        if checks[0].state is not State.FAILS:
            raise
        return Report(path, (*checks, Check(What.CHAIN, State.FAILS, str(error))), "")
    checks.append(_chain(chain))
    if chain_only or not chain.ok:
        return Report(path, tuple(checks), chain.head)
    run = read_run(path)
    if not run.of("run") and not chain.ended:
        return Report(path, tuple(checks), chain.head)
    found_site = _found(What.SITE, run, lambda: _site(run, site))
    checks.append(found_site)
    if _loads(run):
        samples = _found(What.SAMPLES, run, lambda: _samples(run))
        checks.append(samples)
        if samples.state is not State.FAILS:
            checks.append(_found(What.VERDICTS, run, lambda: _verdicts(run)))
    stands = all(check.state is not State.FAILS for check in checks)
    retest_of = run.facts.options.get("retest_of", "") if stands else ""
    return Report(path, tuple(checks), chain.head, retest_of)


def _found(what: What, run: KeptRun, check: Callable[[], Check]) -> Check:
    try:
        return check()
    except SiteFileError as error:
        lines = tuple(str(error).splitlines())
        state = State.FAILS if run.facts.software == software() else State.OPEN
        return Check(what, state, f"the files kept do not load with {software()}", lines)
    except (OutOfStepError, EvidenceError) as error:
        return Check(what, State.FAILS, str(error))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        return Check(what, State.FAILS, f"an entry does not hold what it must: {error!r}")


def _loads(run: KeptRun) -> bool:
    try:
        return bool(run.site.files)
    except (GaswitnessError, KeyError, TypeError, ValueError):
        return False


def _file(path: Path) -> Check:
    beside = digest_path(path)
    whole = is_whole(path)
    if whole is None:
        words = f"there is no {beside.name}: bytes of the file that hold no entry are not checked"
        return Check(What.FILE, State.OPEN, words)
    if whole:
        return Check(
            What.FILE, State.STANDS, f"is, byte for byte, the one that {beside.name} names"
        )
    return Check(What.FILE, State.FAILS, f"is not the one that {beside.name} names")


def _chain(found: ChainReport) -> Check:
    if not found.ok:
        return Check(What.CHAIN, State.FAILS, f"{found.entries} entries stand; then {found.why}")
    words = f"{found.entries} entries stand as written; digest {found.head}"
    if found.ended:
        return Check(What.CHAIN, State.STANDS, words)
    text = "it does not hold the run's end: the run broke off, or the record was cut short"
    return Check(What.CHAIN, State.STANDS, words, (text,))


def _site(run: KeptRun, given: LoadedSite | None) -> Check:
    found = run.site
    count = len(found.files)
    words = f"{run.facts.site_file} is kept, {count} {'file' if count == 1 else 'files'} in all"
    if given is None:
        return Check(What.SITE, State.STANDS, f"{words}; digest {found.sha256}")
    if given.sha256 == found.sha256:
        return Check(What.SITE, State.STANDS, f"{words}, and is {given.path}")
    theirs = {file.name: file.sha256 for file in given.files}
    ours = {file.name: file.sha256 for file in found.files}
    details = [
        f"{name} differs" if name in theirs and name in ours else f"{name} is in one of them only"
        for name in dict.fromkeys([*ours, *theirs])
        if ours.get(name) != theirs.get(name)
    ]
    if not details:
        details = ["the files are the same, in another order"]
    return Check(What.SITE, State.FAILS, f"it was not made with {given.path}", tuple(details))


def _samples(run: KeptRun) -> Check:
    if not run.of("polling"):
        stray = next(iter(read_rows(run.path, "samples")), None)
        if stray is not None:
            return _too_old(What.SAMPLES, run, "the record does not say what was polled")
    found = run.replayed
    words = f"{found.samples} follow from {found.exchanges} exchanges"
    return Check(What.SAMPLES, State.STANDS, words)


def _verdicts(run: KeptRun) -> Check:
    if run.end is None and run.judging is None:
        return Check(What.VERDICTS, State.OPEN, "there are none: the run did not come to its end")
    then = run.verdicts
    if run.end is not None:
        counted = Counter(str(verdict.outcome) for verdict in then)
        stated = {name: count for name, count in run.end.body["summary"].items() if count}
        if stated != counted:
            return Check(What.VERDICTS, State.FAILS, "the end counts others than the record has")
    if not then and run.judging is None:
        return Check(
            What.VERDICTS, State.OPEN, "there are none: the run ended before it was judged"
        )
    if run.judging is None or not (run.replayed.surveys or run.of("polling")):
        words = "cannot be judged again: the record does not say what the judge was asked"
        return _too_old(What.VERDICTS, run, words)
    return _compared(then, judged_again(run), run.facts.software)


def _too_old(what: What, run: KeptRun, words: str) -> Check:
    """What a record of this version would hold; one of another version may never have held it."""
    made_by = run.facts.software
    state = State.FAILS if made_by == software() else State.OPEN
    return Check(what, state, f"{words}; made by {made_by}")


def _compared(then: tuple[Verdict, ...], again: JudgedAgain, made_by: str) -> Check:
    left_out = 0
    now = again.verdicts
    if not again.surveyed:
        left_out = sum(verdict.kind in SURVEYED for verdict in then)
        then = tuple(verdict for verdict in then if verdict.kind not in SURVEYED)
        now = tuple(verdict for verdict in now if verdict.kind not in SURVEYED)
    found = differences(then, now)
    agreeing = len(then) - len({one.id for one in found} & {verdict.id for verdict in then})
    rest = (
        f"; {left_out} rest on a survey that is not in the record, and were not" if left_out else ""
    )
    if not found:
        words = f"all {agreeing} judged again, and agree{rest}"
        # a run of this version has its survey in the record
        stripped = left_out and made_by == software()
        return Check(What.VERDICTS, State.FAILS if stripped else State.STANDS, words)
    words = f"{agreeing} judged again agree, {len(found)} differ{rest}"
    if made_by != software():
        words += f"; made by {made_by}, judged again by {software()}"
    return Check(What.VERDICTS, State.FAILS, words, tuple(map(_told, found)))


def _told(one: Difference) -> str:
    return f"{one.id}: then {one.then}, now {one.now}"
