"""Both sides on one wire: the demo site, its scripts, and rehearsals with a panel that differs."""

import subprocess
import sys
from dataclasses import dataclass

import pytest

from gaswitness_scenarios.library import demo_site_path, site_scripts
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site


@pytest.fixture(scope="session")
def demo():
    return load_site(demo_site_path())


@pytest.fixture(scope="session")
def demo_scripts(demo):
    """The demo's scripts by the number that begins their name, such as `00`."""
    return {path.name[:2]: load_script(path, demo.site) for path in site_scripts(demo.path)}


@pytest.fixture
def rehearse_with(demo, demo_scripts):
    """Rehearse scripts of the demo, by number (all where none is named), against a panel built from
    a changed copy of the site: `panel_change` maps the site to the panel's. Verdicts by id.
    """

    def rehearsed(panel_change, *numbers, seed=0):
        scripts = [demo_scripts[number] for number in numbers or sorted(demo_scripts)]
        options = RehearsalOptions(seed=seed, panel_site=panel_change(demo.site))
        result = rehearse(demo, scripts, options)
        return {verdict.id: verdict for verdict in result.verdicts}

    return rehearsed


@dataclass
class Served:
    """A virtual panel in a process of its own. `link` as it is written on the command line."""

    process: subprocess.Popen
    link: str
    control: str

    def kill(self):
        self.process.kill()
        self.process.wait()


@pytest.fixture
def served(demo):
    """Serve the demo with scripts (by their files) in another process, at a speed."""
    started = []

    def serve(*scripts, speed=20, more=()):
        command = [sys.executable, "-c", "from gaswitness.cli import main; main()", "serve"]
        command += [str(demo.path), "--listen", "127.0.0.1:0", "--speed", str(speed), *more]
        for script in scripts:
            command += ["--script", str(script)]
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, bufsize=1
        )
        lines = [process.stdout.readline().strip() for _ in range(2)]
        panel = Served(process, lines[0].removeprefix("listening on "), lines[1])
        started.append(panel)
        assert panel.link.startswith("tcp://"), [*lines, process.stdout.read()]
        return panel

    yield serve
    for panel in started:
        panel.kill()
        panel.process.stdout.close()
