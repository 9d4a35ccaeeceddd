"""The test of faults under inhibit: all inhibited, all in fault, and nothing may move."""

from gaswitness_scenarios.plan_bench import Draft
from gaswitness_scenarios.plan_ground import Ground
from gaswitness_scenarios.plan_ladder import stages
from gaswitness_sitefile.matrix import Fact


def inhibited_faults_test(ground: Ground, title: str) -> Draft | None:
    """All inhibited, all in fault: nothing may move. None where no fault drives anything."""
    site, timing = ground.site, ground.timing
    tags = [channel.tag for channel in site.channels]
    cells = {
        cell.id: cell
        for tag in tags
        for cell in ground.index.cells_by_fact.get(Fact(tag, "fault"), ())
    }
    if not cells:
        return None
    bench = ground.bench(title, "faults")
    bench.inhibit(tags, on=True)
    bench.hold(timing.flag_s)
    bench.say("All inhibited, all in fault: nothing moves.")
    for tag in tags:
        bench.fault(tag, on=True)
    delay_s = max(channel.fault_delay_s for channel in site.channels)
    bench.hold(delay_s + timing.flag_s + timing.comes_s(cells.values()))
    for effect in dict.fromkeys(cell.effect for cell in cells.values()):
        if ground.output_seen(effect):
            name = f"{effect} stays off: all in fault, all inhibited"
            bench.expect(name, f"{effect}.active", on=False, within_s=1, for_s=1)
    bench.hold(2 + timing.sight_s)
    for tag in tags:
        bench.fault(tag, on=False)
    bench.hold(timing.flag_s)
    if any(stages(ground.ladders[tag]) for tag in tags):
        bench.press("reset")
        bench.hold(timing.key_s)
    bench.inhibit(tags, on=False)
    bench.hold(timing.flag_s)
    bench.press("accept")
    bench.hold(timing.key_s)
    for cell in cells.values():
        bench.cover(cell.id, "I")
    for tag in tags:
        bench.claim(*ground.shows(f"{tag}.inhibit"))
    return bench.draft
