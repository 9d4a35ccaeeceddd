"""Runs as the command line asks for them: rehearse, witness, survey. Plain functions that choose
panel, link, clock and driver, and hand over to the course of the run.
"""

import asyncio
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace

from gaswitness_probe.links import open_link
from gaswitness_probe.rtu_framing import RtuFraming
from gaswitness_probe.survey_second import Second
from gaswitness_probe.transport import TcpTransport
from gaswitness_scenarios.attendance import NOBODY
from gaswitness_scenarios.attendance_person import PeopleAttending
from gaswitness_scenarios.clock import LoopClock, seconds_since, utc_now
from gaswitness_scenarios.conduct import Cast, Course, PlanChoice, conduct
from gaswitness_scenarios.control import announced
from gaswitness_scenarios.driver import Driver
from gaswitness_scenarios.driver_auto import AnchoredDriver, ControlledDriver
from gaswitness_scenarios.driver_person import PersonDriver
from gaswitness_scenarios.equipment import Equipment
from gaswitness_scenarios.events import Listener, ignore
from gaswitness_scenarios.memory_link import MemoryTransport
from gaswitness_scenarios.options import (
    DriverChoice,
    RehearsalLink,
    RehearsalOptions,
    SurveyOptions,
    WitnessOptions,
)
from gaswitness_scenarios.person import TerminalPerson
from gaswitness_scenarios.play import SimulatedDriver
from gaswitness_scenarios.result import RunKind, RunResult
from gaswitness_scenarios.resume import Earlier
from gaswitness_scenarios.script import Script
from gaswitness_scenarios.virtual_loop import run_virtual
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.link_fault_plan import FaultPlan
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_simulator.tcp import serve_tcp
from gaswitness_sitefile.link import DEFAULT_UNIT
from gaswitness_sitefile.link_address import TCP, LinkAddress
from gaswitness_sitefile.load import LoadedSite
from gaswitness_sitefile.site import Site


def rehearse(
    site: LoadedSite,
    scripts: Sequence[Script],
    options: RehearsalOptions = RehearsalOptions(),  # noqa: B008 - frozen
    progress: Listener = ignore,
) -> RunResult:
    """Virtual panel and probe in one process. The same seed gives the same result in virtual time.

    Raises EvidenceError where the record cannot be written.
    """
    if options.link is not RehearsalLink.TCP:
        return run_virtual(_in_memory(site, scripts, options, progress))
    return asyncio.run(_over_a_socket(site, scripts, options, progress))


def witness(
    site: LoadedSite,
    scripts: Sequence[Script],
    options: WitnessOptions,
    progress: Listener = ignore,
) -> RunResult:
    """The probe against a panel that is not ours, a person or something else playing the scripts.

    Raises LinkError where the panel cannot be reached or never answers, ControlError where a
    served virtual panel does not hold the scripts, EvidenceError.
    """
    return asyncio.run(_witness(site, scripts, options, progress))


def survey(site: LoadedSite, options: SurveyOptions, progress: Listener = ignore) -> RunResult:
    """The check of the map alone. Raises as `witness` does."""
    return asyncio.run(_survey(site, options, progress))


def unit_of(site: Site) -> int:
    """The unit id by which the site's panel is asked where nobody says another."""
    return (site.links[0].where.unit if site.links else None) or DEFAULT_UNIT


async def _in_memory(
    site: LoadedSite, scripts: Sequence[Script], options: RehearsalOptions, progress: Listener
) -> RunResult:
    clock = LoopClock()
    panel, device = _virtual(site, options)
    rtu = options.link is RehearsalLink.MEMORY_RTU
    faults = _link_faults(device, options, clock)
    transport = MemoryTransport(
        device,
        clock.now,
        options.latency,
        options.seed,
        shaper=faults,
        framing="rtu" if rtu else "mbap",
    )
    course = Course(
        RunKind.REHEARSE,
        site,
        tuple(scripts),
        transport,
        unit_of(site.site),
        str(options.link),
        "simulator",
        _alone(SimulatedDriver(panel, transport.arrive_until, faults)),
        options.evidence,
        {"seed": str(options.seed), **_asked(options)},
        RtuFraming(None, site.site.pace.timeout_s) if rtu else None,
        plan=_rehearsed(options),
    )
    return await conduct(course, clock, progress)


async def _over_a_socket(
    site: LoadedSite, scripts: Sequence[Script], options: RehearsalOptions, progress: Listener
) -> RunResult:
    clock = LoopClock(options.speed)
    panel, device = _virtual(site, options)
    faults = _link_faults(device, options, clock)
    server = await serve_tcp(device, "127.0.0.1", 0, clock.now, shaper=faults)
    try:
        unit = unit_of(site.site)
        address = LinkAddress(TCP, server.host, server.port, unit)
        course = Course(
            RunKind.REHEARSE,
            site,
            tuple(scripts),
            TcpTransport(server.host, server.port),
            unit,
            str(address),
            "simulator",
            _alone(SimulatedDriver(panel, faults=faults)),
            options.evidence,
            {"seed": str(options.seed), "speed": f"{options.speed:g}", **_asked(options)},
            second=_second(address, unit, site.site),
            plan=_rehearsed(options),
        )
        return await conduct(course, clock, progress)
    finally:
        await server.close()


def _asked(options: RehearsalOptions) -> dict[str, str]:
    """What the record says of the tests that were asked for."""
    return {} if options.tests is None else {"tests": ",".join(options.tests)}


def _rehearsed(options: RehearsalOptions) -> PlanChoice:
    return PlanChoice(chosen=None if options.tests is None else frozenset(options.tests))


def _virtual(site: LoadedSite, options: RehearsalOptions) -> tuple[VirtualPanel, VirtualDevice]:
    drawn = site.site if options.panel_site is None else options.panel_site
    panel = VirtualPanel(drawn, seed=options.seed)
    return panel, VirtualDevice(panel, unit=unit_of(site.site))


def _link_faults(device: VirtualDevice, options: RehearsalOptions, clock: LoopClock) -> FaultPlan:
    """The faults of the panel's link, those that act from the start begun. Told to nobody else."""
    panels = {device.unit: device.panel}
    plan = FaultPlan(options.seed, panels=panels, speed=clock.speed, now=clock.now)
    for fault in (*device.panel.site.faults_of_link, *options.faults):
        plan.begin(fault, 0.0)
    return plan


def _alone(driver: Driver) -> Cast:
    """This driver, whoever the panel says it is."""

    @asynccontextmanager
    async def cast(_identity: Mapping[int, bytes]) -> AsyncIterator[Driver]:
        yield driver

    return cast


async def _witness(
    site: LoadedSite, scripts: Sequence[Script], options: WitnessOptions, progress: Listener
) -> RunResult:
    unit = _unit(site, options.link)
    transport, framing = open_link(options.link, site.site.pace)
    clock = _clock(site.site, options.earlier)
    equipment = (
        Equipment(gaswitness_equipment=1) if options.equipment is None else options.equipment
    )
    plan = PlanChoice(NOBODY, options.tests, equipment, options.earlier)
    if options.driver is DriverChoice.PERSON:
        person = TerminalPerson() if options.person is None else options.person
        driver = PersonDriver(person)
        cast = _alone(driver)
        people = PeopleAttending(person, site.site, equipment, clock.now, utc_now)
        plan = replace(plan, attendance=people, sees=driver.show_by)
    else:
        cast = _auto(scripts, options)
    course = Course(
        RunKind.WITNESS,
        site,
        tuple(scripts),
        transport,
        unit,
        str(options.link),
        options.driver,
        cast,
        options.evidence,
        options.notes,
        framing,
        _second(options.link, unit, site.site),
        plan,
    )
    return await conduct(course, clock, progress)


def _clock(site: Site, earlier: Earlier | None) -> LoopClock:
    """The run's clock: from zero, or so far on as the earlier part lies back by the date."""
    if earlier is None:
        return LoopClock()
    least_s = earlier.goes_on_s(site.timing.shortest_dwell_s)
    return LoopClock(begin_s=max(least_s, seconds_since(earlier.utc_anchor)))


async def _survey(site: LoadedSite, options: SurveyOptions, progress: Listener) -> RunResult:
    unit = _unit(site, options.link)
    transport, framing = open_link(options.link, site.site.pace)
    course = Course(
        RunKind.SURVEY,
        site,
        (),
        transport,
        unit,
        str(options.link),
        "",
        None,
        options.evidence,
        {},
        framing,
        _second(options.link, unit, site.site),
    )
    return await conduct(course, LoopClock(), progress)


def _second(address: LinkAddress, unit: int, site: Site) -> Second:
    # slow to import, and a rehearsal in memory has no use for it
    from gaswitness_probe.second_reader import SecondReader

    return SecondReader(address, unit, site.pace)


def _unit(site: LoadedSite, link: LinkAddress) -> int:
    return unit_of(site.site) if link.unit is None else link.unit


def _auto(scripts: Sequence[Script], options: WitnessOptions) -> Cast:
    @asynccontextmanager
    async def cast(identity: Mapping[int, bytes]) -> AsyncIterator[Driver]:
        announcement = announced(identity)
        if announcement is None:
            yield AnchoredDriver(options.slack_s)
            return
        driver = await ControlledDriver.connect(announcement)
        try:
            for script in scripts:
                driver.require(script)
            yield driver
        finally:
            await driver.close()

    return cast
