"""What virtual panels cost, side by side in one run. Seconds are CPU time of the process; bounds
are what holds on a busy machine, the figures themselves are printed."""

import asyncio

import living_panels
import pytest

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(600)]


def test_a_day_of_64_channels_with_a_living_bus_takes_seconds(capsys):
    bare_s = living_panels.hours_of(64, 8, bus=False)
    living_s = living_panels.hours_of(64, 8)
    with capsys.disabled():
        print(f"\n8 h of 64 channels: {bare_s:.2f} s, with a living bus {living_s:.2f} s")
    # measured 2.8 and 5.0 s
    assert living_s < 10
    assert living_s < 3 * bare_s


def test_the_cost_is_linear_from_8_to_512_channels(capsys):
    each_ms = {}
    for channels, hours in ((8, 6.0), (64, 1.0), (512, 0.25)):
        each_ms[channels] = 1e3 * living_panels.hours_of(channels, hours) / hours / channels
    with capsys.disabled():
        print("\nms of computing a channel and hour, with a living bus:")
        for channels, cost in each_ms.items():
            print(f"{channels:5} {cost:7.2f} {cost / each_ms[8]:6.2f} times that of 8")
    # measured 0.8; a wiring that was walked along in every scan made it 21
    assert each_ms[512] < 1.6 * each_ms[8]
    assert each_ms[64] < 1.6 * each_ms[8]


def test_a_thousand_panels_at_real_speed_leave_half_the_machine_idle(capsys):
    found = asyncio.run(living_panels.lived(1000, seconds=10.0))
    with capsys.disabled():
        print(
            f"\n{found.panels} panels, each read once a second: {found.share:.0%} of a core, "
            f"{found.machine:.0%} of the machine, {found.reads_s:.0f} answers/s, "
            f"the slowest after {found.slowest_s:.2f} s"
        )
    # measured 13 % of one core
    assert found.machine < 0.5
    assert found.reads_s > 900
