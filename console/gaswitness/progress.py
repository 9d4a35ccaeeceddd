"""Progress of a run on stderr: a bar where a person watches, plain lines of phases elsewhere."""

from types import TracebackType
from typing import Protocol, Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn
from rich.text import Text

from gaswitness.wording import duration_words, shown
from gaswitness_scenarios import events
from gaswitness_scenarios.events import Event


class Watcher(Protocol):
    """Someone who follows a run: called with each event, in the run's own thread."""

    def __call__(self, event: Event) -> None: ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None: ...


class Silence:
    """Shows nothing."""

    def __call__(self, event: Event) -> None:
        pass

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        pass


class Lines(Silence):
    """One line for each phase, for pipes, logs, and runs that talk with a person meanwhile."""

    def __init__(self, console: Console) -> None:
        self.console = console

    def __call__(self, event: Event) -> None:
        words = line_for(event)
        if words:
            self.console.print(Text(words), soft_wrap=True)


class Bar:
    """A bar that says which step the run is at."""

    def __init__(self, console: Console) -> None:
        self.progress = Progress(
            TextColumn("{task.percentage:>3.0f} %"),
            BarColumn(bar_width=24),
            TextColumn("{task.description}", markup=False),
            console=console,
            transient=True,
        )
        self.task: TaskID = self.progress.add_task("begins", total=1.0)

    def __call__(self, event: Event) -> None:
        match event:
            case events.Progress(done=done, of=of):
                self.progress.update(self.task, completed=done, total=max(of, 1e-9))
            case events.StepBegun(script=script, number=number, of=of, text=text):
                self._say(f"{script} {number}/{of}: {text}")
            case events.Phase(text=text):
                self._say(text)
            case events.Remark():
                self.progress.console.print(Text(line_for(event)))
            case _:
                pass

    def _say(self, text: str) -> None:
        first, *_ = shown(text).splitlines() or [""]
        room = max(20, self.progress.console.width - 34)
        self.progress.update(self.task, description=first[:room])

    def __enter__(self) -> Self:
        self.progress.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.progress.stop()


def line_for(event: Event) -> str:
    """The plain line of an event; empty for the many that have none."""
    match event:
        case events.RunStarted(site=site, link=link, scripts=scripts, length_s=length_s):
            number = "1 script" if len(scripts) == 1 else f"{len(scripts)} scripts"
            played = f", {number} of {duration_words(length_s)}" if scripts else ""
            words = f"{site} over {link}{played}"
        case events.Phase(at_s=at_s, text=text):
            words = f"{at_s:8.1f} s  {text}"
        case events.StepDone(script=script, number=number, text=text, skipped=skipped) if skipped:
            words = f"step {number} of {script} left out ({skipped}): {text}"
        case events.Remark(at_s=at_s, text=text):
            words = f"{at_s:8.1f} s  note: {text}"
        case _:
            words = ""
    return shown(words)


def watcher(console: Console, *, quiet: bool, talks: bool = False) -> Watcher:
    """Who follows a run at this console; `talks` where the run itself asks a person things."""
    if quiet:
        return Silence()
    return Bar(console) if console.is_terminal and not talks else Lines(console)
