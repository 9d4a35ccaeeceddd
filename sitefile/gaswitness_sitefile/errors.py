"""The errors of the whole product, by who must act. Nothing here knows how they are shown."""

from collections.abc import Iterable

from gaswitness_sitefile.problems import Problem


class GaswitnessError(Exception):
    """The harness cannot do what was asked; the message says why and what to do."""


class SiteFileError(GaswitnessError):
    """A file that people write is wrong. `problems` holds all of them, in reading order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = in_reading_order(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def in_reading_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """File by file in the order of appearance, each from top to bottom, repeats dropped."""
    unique = tuple(dict.fromkeys(problems))
    files = {file: at for at, file in reversed(list(enumerate(p.place.file for p in unique)))}
    return tuple(sorted(unique, key=lambda p: (files[p.place.file], p.place.line, p.place.column)))
