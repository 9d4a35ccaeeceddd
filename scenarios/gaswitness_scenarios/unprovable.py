"""What a run says beforehand that it cannot prove at its pace on its link. Words only: the sums are
the probe's."""

from collections.abc import Iterator

from gaswitness_probe.provable import Chance, Provable, Provables

MOST_NAMED = 12
"""Cells and levels named for one reason; `gaswitness timing` names them all."""


def unprovable_words(found: Provables) -> Iterator[str]:
    """One remark for each reason, with the cells and levels and what would prove them."""
    if found.times.overloaded:
        yield (
            f"the link is overloaded: reading all blocks takes {found.times.cycle_s:.3g} s, and "
            f"the pace asks for {found.times.load:.0%} of the time there is; polls will be missed"
        )
    by_reason: dict[str, list[Provable]] = {}
    for one in found.open:
        by_reason.setdefault(one.words, []).append(one)
    for words, ones in by_reason.items():
        named = ", ".join(one.id for one in ones[:MOST_NAMED])
        more = len(ones) - MOST_NAMED
        others = f" and {more} more" if more > 0 else ""
        chance = "cannot" if ones[0].chance is Chance.NONE else "may not"
        yield f"{chance} be proven here, however good the panel: {named}{others}: {words}"
