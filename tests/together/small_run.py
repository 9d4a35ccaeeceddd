"""A small site and a short script with something of everything, rehearsed and recorded.

No point shows S1: only who looks can say that it acts.
"""

from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site

SITE = """
gaswitness_site: 1
panel: {tag: P-1, vendor: Virtual, product: Demonstration panel}
timing: {scan_s: 0.25, refresh_s: 0, warm_up_s: 1, heartbeat_s: 1, shortest_dwell_s: 1}
pace: {poll_period_s: 0.5}
map: {gaps: exception}
channels:
  - tag: AT-1
    gas: CH4
    unit: "%LEL"
    range: [0, 100]
    t90_s: 0
    levels: {A1: {setpoint: 10}, A2: {setpoint: 20}}
outputs:
  - {tag: K1, kind: relay}
  - {tag: S1, kind: sounder, mutable: true}
matrix:
  - {cause: AT-1.A1, effect: K1, response_s: 2}
  - {cause: AT-1.A2, effect: S1, response_s: 2}
points: {file: points.csv}
"""

POINTS = """name,table,address,type,shows
reading,input register,0,float32,AT-1.reading
beat,input register,2,uint16,heartbeat
first,discrete input,0,bit,AT-1.A1
second,discrete input,1,bit,AT-1.A2
K1,coil,0,bit,K1.active
"""

SCRIPT = """
gaswitness_script: 1
title: Something of everything
steps:
  - {gas: {channel: AT-1, to: 30}}
  - {expect: {fact: AT-1.A2, is: true, within_s: 2}}
  - {hold_s: 3}
  - {look: {fact: S1.active, ask: Does it sound?}}
  - {gas: {channel: AT-1, trace: away.csv}}
  - {hold_s: 3}
"""

TRACE = "time_s,level\n0,30\n0.5,0\n"


def written(folder):
    """The site file and the script, written there."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (
        ("site.yaml", SITE),
        ("points.csv", POINTS),
        ("short.yaml", SCRIPT),
        ("away.csv", TRACE),
    ):
        (folder / name).write_text(text, "utf-8")
    return folder / "site.yaml", folder / "short.yaml"


def small_run(folder, **options):
    """Rehearse it into `folder`/run.sqlite; the result."""
    site_path, script_path = written(folder / "files")
    site = load_site(site_path)
    script = load_script(script_path, site.site)
    chosen = RehearsalOptions(evidence=folder / "run.sqlite", **options)
    return rehearse(site, [script], chosen)
