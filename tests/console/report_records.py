"""A small run for the tests of reports: rehearsed once, with people, gas and notes put beside it,
and a retest of what failed.
"""

from base64 import b64encode
from hashlib import sha256
from pathlib import Path

from gaswitness_probe.evidence import Evidence
from gaswitness_probe.evidence_read import read_evidence
from gaswitness_scenarios.load import load_script
from gaswitness_scenarios.options import RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.site import Site

HERE = Path(__file__).parent / "report_run"
PHOTO = b"\x89PNG not a picture"
NOTED = "=1+1 the valve's <b>label</b> is missing"


def wrong_setpoint(site: Site) -> Site:
    """The panel that is tested first: its second level of AT-1 stands at 26, not 20."""
    channel = site.channels[0]
    level = channel.levels["A2"].model_copy(update={"setpoint": 26.0})
    levels = {**channel.levels, "A2": level}
    changed = channel.model_copy(update={"levels": levels})
    return site.model_copy(update={"channels": (changed, *site.channels[1:])})


def make_run(folder: Path) -> Path:
    """The folder of a run that failed at T-002, and of its retest, which proved it."""
    folder.mkdir()
    loaded = load_site(HERE / "site.yaml")
    plan = load_script(HERE / "plan.yaml", loaded.site)
    retest = load_script(HERE / "retest.yaml", loaded.site)
    bare = folder / "bare"
    rehearse(loaded, [plan], RehearsalOptions(bare, panel_site=wrong_setpoint(loaded.site)))
    attended(bare, folder / "run.sqlite")
    bare.unlink()
    rehearse(loaded, [retest], RehearsalOptions(folder / "run-2.sqlite"))
    return folder


def attended(bare: Path, path: Path) -> None:
    """The same record with what people say beside it, as an attended run writes it."""
    record = Evidence.create(path)
    for entry in read_evidence(bare):
        if entry.kind == "judging":
            for kind, body in notes():
                record.append(kind, body, entry.at_s)
        record.append(entry.kind, entry.body, entry.at_s)
    record.close()


def notes() -> list[tuple[str, dict[str, object]]]:
    tester = {"role": "tester", "name": "Ada Quill", "initials": "AQ", "company": "Tarn Controls"}
    witness = {"role": "witness", "name": "Bo Reed", "initials": "BR", "company": "Fen Estates"}
    signed = [
        {
            "test": "T-001",
            "attempt": 1,
            "role": who["role"],
            "name": who["name"],
            "initials": who["initials"],
            "at_utc": "2031-03-04T11:00:00+01:00",
        }
        for who in (tester, witness)
    ]
    instrument = {"name": "Flow meter", "maker_number": "77", "certificate": "C-9", "due": None}
    gas = {
        "gas": "CH4",
        "composition": "2.2 %vol CH4 in air",
        "cylinder": "B-12",
        "certificate": "G-3",
        "expires": "2032-01-01",
        "overridden": "",
    }
    attachment = {
        "name": "label.png",
        "sha256": sha256(PHOTO).hexdigest(),
        "base64": b64encode(PHOTO).decode("ascii"),
        "media_type": "image/png",
        "about": "T-002",
        "words": "the valve",
    }
    deviation = {"number": 1, "category": "B", "text": NOTED, "about": "T-002", "by": "Ada Quill"}
    remark = {"text": "the door was open", "by": "Bo Reed", "about": "T-001"}
    return [
        ("people", tester),
        ("people", witness),
        ("instrument", instrument),
        ("test_gas", gas),
        *(("initials", one) for one in signed),
        ("attachment", attachment),
        ("deviation", deviation),
        ("remark", remark),
    ]
