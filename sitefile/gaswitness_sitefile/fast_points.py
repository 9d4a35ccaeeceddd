"""Which points the pace's `fast` means, and how often each point is asked for. Facts only: how
reads are put together is not known here."""

from typing import Final

from gaswitness_sitefile.channel import LEVEL_NAMES
from gaswitness_sitefile.points import Access, Point
from gaswitness_sitefile.site import Site

FAST_WORDS: Final = {
    "readings": "the reading of a channel",
    "levels": "an alarm level of a channel or of any, or a state that tells it",
    "faults": "a fault of a channel, of any, or of the panel, or a state that tells it",
    "inhibits": "an inhibit of a channel or of the panel, or a state that tells it",
    "inputs": "a digital input",
    "outputs": "an output",
}
"""What may stand in `fast: {what: [...]}` beside tags, and what each means."""


def fast_points(site: Site) -> frozenset[str]:
    """Names of the points that are read at the fast period; none where the pace has none."""
    if site.pace.fast is None:
        return frozenset()
    words = site.pace.fast.what
    return frozenset(
        point.name for point in site.points if any(is_meant(site, point, word) for word in words)
    )


def is_meant(site: Site, point: Point, word: str) -> bool:
    """Whether a word of `what`, or a tag, means this point: one fact in it is enough."""
    if point.access is Access.WRITE:
        return False
    return any(_means(site, word, shows) for _, shows in point.facts())


def _means(site: Site, word: str, shows: str) -> bool:
    subject, _, what = shows.partition(".")
    match word:
        case "readings":
            return what == "reading"
        case "levels":
            return what in (*LEVEL_NAMES, "state")
        case "faults":
            return what in ("fault", "state")
        case "inhibits":
            return what in ("inhibit", "state")
        case "inputs":
            return subject in site.input_of
        case "outputs":
            return subject in site.output_of
        case _:
            return subject == word
