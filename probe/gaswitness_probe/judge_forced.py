"""Whether outputs stood as people forced them at the panel (rule 28)."""

from collections.abc import Iterator

from gaswitness_probe.expect import OutputView
from gaswitness_probe.observe import clash
from gaswitness_probe.respond import seconds
from gaswitness_probe.signal import FALSE, TRUE, truth
from gaswitness_probe.verdict import Aspect, Outcome


def forced_aspects(output: OutputView) -> Iterator[Aspect]:
    """What was seen of the output while it was forced, for the verdict on it."""
    tag, forced = output.output.tag, output.forced
    if not forced.holdings:
        return
    seen = output.view.parts(output.fact)
    for part in seen:
        at_s = clash(part, forced.held)
        if at_s is not None:
            must, is_ = ("off", "on") if part.value is TRUE else ("on", "off")
            yield Aspect(
                f"forced {must}",
                Outcome.FAILED,
                expected=f"{tag} {must} while it is forced {must}",
                seen=f"{tag} {is_} at {seconds(at_s)}",
                because=f"{tag} was {is_} while somebody held it {must} at the panel",
                at_s=at_s,
            )
    for name, value in (("forced on", TRUE), ("forced off", FALSE)):
        asked = [one for one in forced.holdings if one.on is not None and truth(one.on) is value]
        if not asked:
            continue
        held_s = sum(
            piece.end - piece.start
            for part in seen
            if part.value is value and part.known is not None
            for piece in forced.held.within(*part.known)
            if piece.value is value
        )
        state = name.removeprefix("forced ")
        yield Aspect(
            name,
            Outcome.PROVEN if held_s > 0 else Outcome.INCONCLUSIVE,
            expected=f"{tag} {state} while it is {name}",
            seen=f"{tag} {state} for {held_s:.0f} s" if held_s > 0 else "",
            because=f"{tag} stood {state}, {held_s:.0f} s, while somebody held it there"
            if held_s > 0
            else f"{tag} was not seen {state} for long enough while it was {name}; hold longer",
            at_s=asked[0].when.high,
        )
