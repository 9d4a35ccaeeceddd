"""The large site is a good one: it loads, its script loads, and every channel has its turn."""

import subprocess
import sys
from pathlib import Path

import pytest

from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.script import Fault, Gas
from gaswitness_sitefile.load import load_site

MAKER = Path(__file__).with_name("make_large_site.py")


def made(folder, *options):
    done = subprocess.run(
        [sys.executable, MAKER, folder, *options], capture_output=True, text=True, check=False
    )
    return done, *(Path(line) for line in done.stdout.split("\n") if line)


def test_default_is_64_channels_and_eight_hours(tmp_path):
    done, site_path, script_path = made(tmp_path)
    assert done.returncode == 0
    site = load_site(site_path).site
    script = load_script(script_path, site)
    assert len(site.channels) == 64
    assert len(site.points) == 528
    assert len(site.matrix) == 201
    assert script.length_s == pytest.approx(8 * 3600, abs=1)
    tags = {channel.tag for channel in site.channels}
    assert {step.channel for step in script.steps if isinstance(step, Gas)} == tags
    assert {step.channel for step in script.steps if isinstance(step, Fault)} == tags


def test_sizes_are_free_but_each_channel_needs_its_time(tmp_path):
    _, site_path, script_path = made(tmp_path / "small", "--channels", "9", "--hours", "1")
    site = load_site(site_path).site
    assert len(site.channels) == 9
    assert load_script(script_path, site).length_s == pytest.approx(3600, abs=1)
    done, *_ = made(tmp_path / "hasty", "--channels", "9", "--hours", "0.5")
    assert "9 channels need 0.87 hours or more" in done.stderr
