"""Which channels may be in gas together, so that every effect still has one cause.

Two channels meet where each of them, alone, moves the same output. Channels that do not meet go
into one round. Cells that sum up several channels (`any.A1`, votes, OR) would let all of them meet:
these are left to the gates, where all are in gas, inhibited, and let count one after the other.
"""

from collections.abc import Iterable, Mapping, Sequence

from gaswitness_scenarios.plan_stimuli import Turn


def meetings(effects_of: Mapping[str, Iterable[str]]) -> dict[str, set[str]]:
    """For each channel, those that it meets at an output; `effects_of` has the outputs of each."""
    at_output: dict[str, list[str]] = {}
    for tag, effects in effects_of.items():
        for effect in set(effects):
            at_output.setdefault(effect, []).append(tag)
    met: dict[str, set[str]] = {tag: set() for tag in effects_of}
    for tags in at_output.values():
        for tag in tags:
            met[tag].update(tags)
    for tag, others in met.items():
        others.discard(tag)
    return met


def rounds(
    met: Mapping[str, set[str]], cost_s: Mapping[str, float], most: int = 0
) -> list[list[str]]:
    """Groups of channels that do not meet, few and each as alike in length as can be.

    The costliest channels first, each into the group whose length it adds least to; among equals
    one that meets more goes first. `most`: channels in a group at most, 0 for no bound.
    """
    order = sorted(met, key=lambda tag: (-len(met[tag]), -cost_s[tag]))
    groups: list[list[str]] = []
    for tag in order:
        fitting = [
            group
            for group in groups
            if (not most or len(group) < most) and met[tag].isdisjoint(group)
        ]
        if not fitting:
            groups.append([tag])
            continue
        best = min(fitting, key=lambda group: abs(max(cost_s[one] for one in group) - cost_s[tag]))
        best.append(tag)
    first = {tag: at for at, tag in enumerate(met)}
    for group in groups:
        group.sort(key=first.__getitem__)
    return sorted(groups, key=lambda group: first[group[0]])


def greatest_meeting(effects_of: Mapping[str, Iterable[str]]) -> list[str]:
    """The channels of the output at which most of them meet: none of these can share a round."""
    at_output: dict[str, list[str]] = {}
    for tag, effects in effects_of.items():
        for effect in set(effects):
            at_output.setdefault(effect, []).append(tag)
    return max(at_output.values(), key=len, default=[])


def rank(turn: Turn) -> tuple[int, list[str], str]:
    """Its place among others: the smallest settings first, those with the same in a row."""
    return len(turn.setting), [str(fact) for fact in turn.standing], str(turn.fact)


def chunks(tags: Sequence[str], most: int) -> list[list[str]]:
    """The tags in runs of at most so many; one run with 0."""
    if not most:
        return [list(tags)] if tags else []
    return [list(tags[at : at + most]) for at in range(0, len(tags), most)]
