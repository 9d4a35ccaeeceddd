"""Causes of the matrix, made into functions without arguments that say whether they hold now."""

from collections.abc import Callable

from gaswitness_sitefile.matrix import AllOf, AnyOf, Cause, Fact, Not, Vote

Reader = Callable[[], bool]


def reader_of(cause: Cause, counted: Callable[[Fact], Reader]) -> Reader:
    """The cause as a reader; `counted` gives the reader of one fact as a cause counts it."""
    match cause:
        case Fact():
            return counted(cause)
        case Not(term):
            held = reader_of(term, counted)
            return lambda: not held()
        case AllOf(terms):
            return _at_least(len(terms), [reader_of(term, counted) for term in terms])
        case AnyOf(terms):
            return _at_least(1, [reader_of(term, counted) for term in terms])
        case Vote(need, terms):
            return _at_least(need, [reader_of(term, counted) for term in terms])


def _at_least(need: int, readers: list[Reader]) -> Reader:
    return lambda: sum(reader() for reader in readers) >= need
