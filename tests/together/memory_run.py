"""Random machines rehearsed in memory, without a survey, and judged; what their panels did."""

import asyncio
import contextlib
import math
from dataclasses import replace
from pathlib import Path

from gaswitness_probe.client import Client
from gaswitness_probe.judge import judge
from gaswitness_probe.poller import Poller
from gaswitness_probe.read_plan import plan_reads
from gaswitness_scenarios.build import Builder
from gaswitness_scenarios.clock import LoopClock
from gaswitness_scenarios.events import ignore
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import Latency
from gaswitness_scenarios.play import SimulatedDriver
from gaswitness_scenarios.poll_clock import PollClock, PollingOver
from gaswitness_scenarios.record import Record
from gaswitness_scenarios.schedule import Scheduler
from gaswitness_scenarios.script import Script
from gaswitness_scenarios.script_file import ScriptRecord
from gaswitness_scenarios.translate import stimulus_of
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_scenarios.warm_up import wait_out_warm_up
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.stimulus import Power
from gaswitness_sitefile.link_fault_text import parse_link_fault
from gaswitness_sitefile.problems import Place
from gaswitness_sitefile.site import Site


def site_of(machine, dwell_s):
    timing = {**machine.site["timing"], "shortest_dwell_s": dwell_s}
    return Site.model_validate({**machine.site, "timing": timing})


def script_of(machine, site):
    def place(loc):
        return Place("random", 1, 1)

    record = ScriptRecord.model_validate(
        {"gaswitness_script": 1, "title": "At random", "steps": machine.steps}
    )
    scheduler = Scheduler(site, place)
    builder = Builder(site, "random", Path(), place)
    steps = tuple(step for one in scheduler.run(record) for step in builder.steps(one))
    assert not scheduler.problems
    assert not builder.problems, builder.problems
    length_s = max(step.end_s for step in steps if not hasattr(step, "over_s"))
    return Script("random", "At random", "", steps, length_s, "", ())


class Rehearsed:
    """What was seen and done; `begun_s` is the script's begin."""

    def __init__(self, machine, site, panel_site):
        self.site = site
        self.machine = machine
        self.panel_site = panel_site
        self.begun_s = 0.0
        self.script = script_of(machine, site)
        run_virtual(self._run())

    async def _run(self):
        machine, site = self.machine, self.site
        clock = LoopClock()
        panel = VirtualPanel(self.panel_site, seed=machine.seed)
        device = VirtualDevice(panel, unit=1)
        latency = Latency(*machine.latency_s)
        faults = FaultPlan(machine.seed, panels={1: panel}, speed=1.0, now=clock.now)
        if machine.link_fault:
            faults.begin(parse_link_fault(machine.link_fault), 0.0)
        transport = MemoryTransport(device, clock.now, latency, machine.seed, shaper=faults)
        record = self.record = Record(site, None, ignore)
        client = Client(transport, unit=1, clock=clock, pace=site.pace)
        await client.open()
        await wait_out_warm_up(client, site, clock, record)
        poll_clock = PollClock(clock)
        poller = Poller(client, site, plan_reads(site), poll_clock)
        begun_s = clock.now()
        await poller.cycle()
        polling = asyncio.create_task(self._poll(poller))
        self.begun_s = clock.now()
        record.playing(self.script, self.begun_s, (0.0, 0.0))
        driver = SimulatedDriver(panel, transport.arrive_until)
        await driver.play(self.script, clock, record)
        poll_clock.stop()
        await polling
        await client.close()
        self.span_s = (begun_s, clock.now())
        self.histories = poller.histories()

    @staticmethod
    async def _poll(poller):
        with contextlib.suppress(PollingOver):
            await poller.run_until(math.inf)

    def verdicts(self):
        slack_s = self.machine.slack_s
        told = [
            replace(one, begun_s=one.begun_s - slack_s / 3, done_s=one.done_s + slack_s)
            for one in self.record.applied
        ]
        return judge(self.site, self.histories, told, looked=self.record.looked, span=self.span_s)


def rehearsed(machine, panel_change=lambda site: site):
    """Rehearse and judge; None where the panel dwells shorter in a state than its map refreshes."""
    rough = site_of(machine, 1000.0)
    first = Rehearsed(machine, rough, panel_change(rough))
    dwell_s = min(true_dwell_s(first), machine.longest_dwell_s)
    if dwell_s <= rough.timing.refresh_s:
        return None
    site = site_of(machine, dwell_s)
    return Rehearsed(machine, site, panel_change(site))


def true_dwell_s(run):
    """The shortest time that the panel was in any state: facts, and where readings stood."""
    shortest, since, last = math.inf, {}, {}
    readers = {}
    for panel in after_each_scan(run, run.panel_site):
        readers = readers or _watched(panel)
        for name, reader in readers.items():
            now = reader()
            if name in last and last[name] != now:
                if name in since:
                    shortest = min(shortest, panel.now_s - since[name])
                since[name] = panel.now_s
            last[name] = now
    return shortest * 0.999


def after_each_scan(run, site):
    """A panel of the site, to which is done what the run did, after each scan and power switch."""
    panel = VirtualPanel(site, seed=run.machine.seed)
    panel.watch_ranges()
    yield panel
    steps = [(run.begun_s + step.at_s, stimulus_of(step)) for step in run.script.steps]
    steps = [(at_s, stimulus) for at_s, stimulus in steps if stimulus is not None]
    scan = 0
    while panel.now_s < run.begun_s + run.script.length_s + 5.0:
        at_s = panel.state.scanning.at_s(scan)
        while steps and steps[0][0] <= at_s:
            when_s, stimulus = steps.pop(0)
            panel.apply(stimulus, when_s)
            if isinstance(stimulus, Power):
                yield panel
        panel.advance(at_s)
        yield panel
        scan += 1


def _watched(panel):
    site = panel.site
    names = [f"{tag}.{what}" for tag in panel.state.inputs for what in ("active",)]
    names += ["panel.fault", "panel.warm_up", "panel.unaccepted", "panel.inhibit", "panel.test"]
    names += [f"any.{what}" for what in ("A1", "A2", "A3", "fault")]
    coil = ("active", "energised", "muted", "forced")
    names += [f"{output.tag}.{what}" for output in site.outputs for what in coil]
    readers = {}
    for one in site.channels:
        modes = ("inhibit", "test", "calibration", "first_up")
        flags = ("fault", "over_range", "under_range", *modes, *one.levels)
        names += [f"{one.tag}.{what}" for what in flags]
        for name, level in one.levels.items():
            back = level.hysteresis if level.direction == "falling" else -level.hysteresis
            for edge in (level.setpoint, level.setpoint + back):
                for noise in (one.noise, -one.noise):
                    key = f"{one.tag} over {edge + noise}/{name}/{noise}"
                    readers[key] = _over(panel, one.tag, edge + noise)
    readers |= {name: panel.state.shown(name) for name in names}
    readers["power"] = lambda: panel.powered
    return readers


def _over(panel, tag, edge):
    channel = panel.state.channels[tag]

    def reader():
        scan = panel.state.scanning.now
        value = channel.kept if channel.kept is not None else channel.lagged(scan)
        return value >= edge

    return reader
