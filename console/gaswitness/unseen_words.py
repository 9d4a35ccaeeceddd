"""What a run could not have seen, in words: defects of the map that nothing in it shows."""

from collections.abc import Iterator

from gaswitness.wording import shown
from gaswitness_probe.shown_defects import NotShown, ShownDefects

MOST_KINDS = 6


def unseen_headline(found: ShownDefects) -> str:
    """How many of the defects would have been failed, and how many not."""
    told, unseen = len(found.shown), len(found.not_shown)
    share = f"{100 * found.share:.1f} %" if unseen else "all"
    if not told + unseen:
        return "There is no defect of the map that can be told from a good panel."
    words = (
        f"Of {told + unseen} single defects of the map (addresses, orders, scales, bits, exchanged "
        f"tags, faults, states), had the panel any of them, {told} would have been failed: {share}."
    )
    return f"{words} {unseen} would not:" if unseen else words


def unseen_kinds(found: ShownDefects) -> Iterator[str]:
    """The kinds that would not, the most first, each with one place and what would show it."""
    by_kind: dict[str, list[NotShown]] = {}
    for one in found.not_shown:
        by_kind.setdefault(one.kind, []).append(one)
    kinds = sorted(by_kind.values(), key=lambda same: -len(same))
    for same in kinds[:MOST_KINDS]:
        first = same[0]
        more = f", {len(same)} places, first {first.place}" if len(same) > 1 else f", {first.place}"
        yield shown(f"{first.kind}{more}: {first.because}. To show it, {first.remedy}.")
    if len(kinds) > MOST_KINDS:
        left = sum(len(same) for same in kinds[MOST_KINDS:])
        more_kinds = len(kinds) - MOST_KINDS
        yield f"and {left} more, of {more_kinds} other kind{'s' if more_kinds > 1 else ''}"


def unseen_tail(found: ShownDefects) -> str:
    """Where all of them stand, and how many no test can tell."""
    words = "All of them are in verdicts.json." if found.not_shown else ""
    if found.alike:
        first = found.alike[0]
        tail = f"{len(found.alike)} more nothing can tell from a good panel, such as "
        words += f" {tail}{first.kind}, {first.place}: {first.because}."
    return shown(words.strip())
