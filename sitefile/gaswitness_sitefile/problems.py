"""Where something is wrong in a file, what is wrong, and what to write instead."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches

Loc = tuple[str | int, ...]
"""A path into a file's data: keys and list indices from the root down."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place in a file; `line` and `column` from 1.

    In a table `line` is the row and `column` the number of the cell in it; in a workbook `cell`
    names it, such as Points!C7.
    """

    file: str
    line: int
    column: int
    cell: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong: `what` was found, and the `remedy`."""

    place: Place
    what: str
    remedy: str

    def __str__(self) -> str:
        cell = f"cell {self.place.cell}: " if self.place.cell else ""
        tail = f": {self.remedy}" if self.remedy else ""
        return f"{self.place}: {cell}{self.what}{tail}"


def near_match(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` was probably meant to be; None where none or several may be."""
    by_folded = {name.casefold(): name for name in known}
    folded = word.casefold()
    if folded in by_folded:
        return by_folded[folded]
    found = get_close_matches(folded, by_folded, n=2, cutoff=0.6)
    if len(found) == 2 and _likeness(folded, found[0]) == _likeness(folded, found[1]):
        return None
    return by_folded[found[0]] if found else None


def _likeness(word: str, other: str) -> float:
    return SequenceMatcher(None, other, word).ratio()


def one_of(word: str, known: Iterable[str], *, most: int = 12) -> str:
    """A remedy: the near match, if any, and what is known (at most `most` of them)."""
    names = list(dict.fromkeys(known))
    near = near_match(word, names)
    if not names:
        return "none are known here"
    shown = ", ".join(names[:most]) + (", ..." if len(names) > most else "")
    ask = f"did you mean {near}? " if near else ""
    return f"{ask}write {'one of ' if len(names) > 1 else ''}{shown}"


def an(word: str) -> str:
    """The word with its article: an input register, a uint16."""
    return f"{'an' if word[:1] in tuple('aeio') else 'a'} {word}"
