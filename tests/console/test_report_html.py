"""The report's page and data: what stands in them, held against the run and by other libraries."""

import csv
import itertools
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO, StringIO
from types import SimpleNamespace

import html5lib
import jsonschema
import pytest
from openpyxl import load_workbook
from report_records import HERE, NOTED, make_run

from gaswitness.cli import run
from gaswitness.report_blocks import plain_text
from gaswitness.report_build import Chosen, build_report
from gaswitness.report_html import report_html
from gaswitness.report_issues import read_issues
from gaswitness.report_json import report_json, report_schema
from gaswitness.report_junit import report_junit
from gaswitness.report_outcome import headline, overall_outcome
from gaswitness.report_pages import report_sheets
from gaswitness.report_tables import punch_csv, steps_book, steps_csv
from gaswitness.report_unseen import unseen
from gaswitness_probe.evidence import Evidence
from gaswitness_probe.evidence_read import read_evidence
from gaswitness_probe.shown_defects import NotShown, ShownDefects, shown_defects
from gaswitness_probe.verdict import Outcome
from gaswitness_scenarios.options import RehearsalLink, RehearsalOptions
from gaswitness_scenarios.run import rehearse
from gaswitness_sitefile.load import load_site


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_run(tmp_path_factory.mktemp("report") / "run")


@pytest.fixture(scope="module")
def first(folder):
    """The report of the first issue alone."""
    issues = read_issues(folder / "run.sqlite")
    return build_report(issues, Chosen("FAT-7", "A", "fat")), issues


@pytest.fixture(scope="module")
def both(folder):
    issues = read_issues(folder)
    return build_report(issues, Chosen()), issues


@pytest.fixture(scope="module")
def page(first):
    return report_html(report_sheets(*first))


@pytest.fixture(scope="module")
def tree(page):
    """By another library's strict parser (HTML Living Standard, chapter 13)."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def words(element):
    return " ".join("".join(element.itertext()).split())


def part(report, part_id):
    return next(one for one in report.parts if one.id == part_id)


def item(report, item_id):
    return next(one for one in report.items if one.id == item_id)


def test_page_one_says_the_outcome_in_words(tree, first):
    report, _ = first
    assert report.outcome is Outcome.FAILED
    main = tree.find(".//main")
    said = main.findall("p") + main.findall(".//main/p")
    assert words(said[0]).startswith("FAILED. Of ")
    assert " 3 failed" in words(said[0])
    text = words(main)
    assert text.index("FAILED.") < text.index("Contents")
    front = text[: text.index("Contents")]
    assert "Of 2 tests of the plan: 1 proven, 1 failed." in front
    assert "T-002 failed: AT-1 closes the valve. level/AT-1.A2: setpoint: " in front
    assert "level/AT-1.A2: AT-1.A2 was off though the reading stood at" in front
    assert "proves nothing about a real panel" in front
    for party in ("Vendor", "Purchaser", "Third party"):
        assert party in front
    assert "Testing gas alarms can move valves" in front


def test_reported_and_witnessed_are_kept_apart(tree, first):
    report, _ = first
    front = words(tree.find(".//main")).partition("Contents")[0]
    assert "is reported: the panel says so over the wire. That is no proof" in front
    assert "A person was asked to look or listen once" in front
    steps = part(report, "T-001").steps
    looks = [look for step in steps for look in step.looks]
    assert [(look.fact, look.value) for look in looks] == [("B1.active", True)]
    rows = [[words(cell) for cell in row] for row in tree.iter("tr")]
    seen = next(row for row in rows if row and row[0] == "B1.active" and "looks" in row[1])
    assert seen[5:] == ["witnessed", "AQ, BR"]
    proven = [row for row in rows if len(row) == 7 and row[4] == "proven"]
    assert {row[5] for row in proven if "witnessed" not in row[0]} == {"reported"}
    assert [row[0] for row in proven if row[5] == "witnessed"] == [
        "cell/any.A1 > B1: witnessed acting",
        "output/B1: witnessed acting",
    ]


def test_the_page_asks_for_nothing_outside_and_runs_nothing(page, tree):
    assert not list(tree.iter("script"))
    assert not list(tree.iter("link"))
    assert "@import" not in page
    assert set(re.findall(r"url\(([^)]*?)\)", page)) <= set(re.findall(r"url\((#[^)]*?)\)", page))
    for element in tree.iter():
        for name, value in element.attrib.items():
            if name in ("href", "src", "{http://www.w3.org/1999/xlink}href"):
                assert value.startswith("#"), value
    addresses = set(re.findall(r"https?://[^\"' <)]+", page))
    assert addresses == {"http://www.w3.org/2000/svg"}


def test_keyboard_and_screen_reader_find_their_way(tree):
    """By the techniques of WCAG 2.2: H57, G1, H39, H63, H69, H37 (ARIA for SVG)."""
    assert tree.get("lang") == "en"
    ids = [element.get("id") for element in tree.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for element in tree.iter():
        target = element.get("href", "")
        assert not target.startswith("#") or target[1:] in ids
        for name in ("aria-labelledby", "aria-describedby"):
            assert set(element.get(name, "").split()) <= set(ids)
    levels = [int(e.tag[1]) for e in tree.iter() if re.fullmatch("h[1-6]", str(e.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    tables = list(tree.iter("table"))
    assert len(tables) > 10
    for table in tables:
        assert words(table.find("caption"))
        assert all(cell.get("scope") == "col" for cell in table.find("thead").iter("th"))
        assert all(
            cell.get("scope") in ("row", "rowgroup")
            for cell in table.iter("th")
            if cell.get("scope") != "col"
        )
    regions = [e for e in tree.iter("div") if e.get("role") == "region"]
    assert len(regions) == len(tables)
    assert all(region.get("tabindex") == "0" for region in regions)
    drawings = [e for e in tree.iter() if str(e.tag).endswith("svg")]
    assert len(drawings) >= 2
    for drawing in drawings:
        assert drawing.get("role") == "img"
        named = [e for e in drawing.iter() if e.get("id") in drawing.get("aria-labelledby").split()]
        assert [str(e.tag).rpartition("}")[2] for e in named] == ["title", "desc"]
        assert all(words(e) for e in named)


def test_what_is_told_by_colour_stands_in_words_too(tree):
    kinds = {"proven", "failed", "inconclusive", "not_run"}
    toned = [e for e in tree.iter("td") if kinds & set(e.get("class", "").split())]
    assert len(toned) > 30
    said = {"P", "F", "?", "o", *(kind.replace("_", " ") for kind in kinds)}
    assert {words(cell).split(" T-")[0] for cell in toned} <= said
    sections = {e.get("id"): e.get("class") for e in tree.iter("section")}
    assert sections["tests"] == "landscape"
    assert sections["test-T-001"] == "new-page"


def test_all_proven_takes_a_whole_record(first):
    report, _ = first
    facts = report.issues
    good = [one for one in report.items if one.outcome is Outcome.PROVEN]
    assert overall_outcome(facts, good, []) is Outcome.PROVEN
    cut = (replace(facts[0], sound=False),)
    assert overall_outcome(cut, good, []) is Outcome.INCONCLUSIVE
    assert overall_outcome(facts, report.items, []) is Outcome.FAILED
    assert overall_outcome(facts, [], []) is Outcome.NOT_RUN


@pytest.mark.parametrize(
    ("how", "outcome", "whole", "words"),
    [
        ("done", Outcome.PROVEN, Outcome.PROVEN, "ALL PROVEN. Of 1 things to be shown: 1 proven. "),
        ("skipped", Outcome.NOT_RUN, Outcome.INCONCLUSIVE, "1 proven, 1 left out."),
        ("not begun", Outcome.NOT_RUN, Outcome.INCONCLUSIVE, "1 proven, 1 never begun."),
        ("done", Outcome.INCONCLUSIVE, Outcome.INCONCLUSIVE, "1 proven, 1 open."),
        ("done", Outcome.FAILED, Outcome.FAILED, "1 proven, 1 failed."),
        # nobody was to do it: the verdicts say what is missing
        ("not asked for", Outcome.NOT_RUN, Outcome.PROVEN, "1 proven, 1 not asked for."),
    ],
)
def test_all_proven_takes_all_tests_that_were_to_be_done(first, how, outcome, whole, words):
    report, _ = first
    facts, proven = report.issues, part(report, "T-001")
    good = [next(one for one in report.items if one.outcome is Outcome.PROVEN)]
    parts = [proven, replace(proven, id="T-9", how=how, outcome=outcome)]
    assert overall_outcome(facts, good, parts) is whole
    said = headline(whole, good, parts)
    assert words in said
    assert said.startswith("ALL PROVEN") is (whole is Outcome.PROVEN)
    assert "Of 2 tests of the plan: " in said


def test_foreign_text_stays_text(tree):
    assert not list(tree.iter("west"))
    assert "Cellar <west> & pump room" in words(tree.find(".//main"))
    assert NOTED in words(tree.find(".//main"))


def test_the_failed_test_tells_step_expected_seen_and_initials(first):
    report, _ = first
    failed = part(report, "T-002")
    assert failed.outcome is Outcome.FAILED
    assert [str(one.outcome) for one in failed.claims] == ["failed", "not_run"]
    found = [(step.words, one) for step in failed.steps for one in step.findings]
    where, finding = next(pair for pair in found if pair[1].name == "level/AT-1.A2: setpoint")
    assert "CH4" in where
    assert "over 25 s" in where
    assert finding.expected == "AT-1.A2 on at 20 %LEL"
    assert "reading 20." in finding.seen
    valve = next(one for _, one in found if one.of == "expectation/Valve shuts")
    assert valve.outcome is Outcome.FAILED
    good = part(report, "T-001")
    assert good.initials == "AQ, BR"
    assert {one.at_utc for one in good.signed} == {"2031-03-04 10:00:00Z"}
    assert good.remarks[0].endswith("the door was open (Bo Reed)")
    rise = next(o for s in good.steps for o in s.findings if o.name == "cell/any.A1 > B1: rises")
    low, high = rise.response_s
    assert 0.0 <= low < high < 1.5


def test_frames_of_what_failed_are_those_of_the_record(first, tree):
    report, issues = first
    frames = next(one for one in report.frames if one.of == "level/AT-1.A2: setpoint")
    assert len(frames.rows) >= 4
    sent = {exchange.sent_s: exchange for exchange in issues[0].wire}
    for row in frames.rows:
        exchange = sent[row.sent_s]
        marked = [span.text for span in row.response if span.style == "marked"]
        plain = "".join(span.text for span in row.response).replace("[", "").replace("]", "")
        assert bytes.fromhex(plain) == exchange.response
        assert marked
        assert abs(row.received_s - frames.at_s) < 30.0
    # 20.32 %LEL was over the setpoint of 20, and the register of the alarms said off (bit 1)
    values = [value for row in frames.rows for value in row.values if value.startswith("Alarms")]
    assert values
    assert not any("AT-1.A2" in value for value in values)
    assert "Appendix: raw frames of what failed" in words(tree.find(".//main"))


def test_a_retest_counts_where_it_tested_and_nowhere_else(both):
    report, _ = both
    level = item(report, "level/AT-1.A2")
    assert (level.outcome, level.issue) == (Outcome.PROVEN, "2")
    assert [(e.issue, str(e.outcome)) for e in level.history] == [("1", "failed"), ("2", "proven")]
    other = item(report, "level/AT-2.A1")
    assert (other.outcome, other.issue) == (Outcome.PROVEN, "1")
    assert [one.id for one in report.parts] == ["T-001", "T-002"]
    again = part(report, "T-002")
    assert (again.outcome, again.issue) == (Outcome.PROVEN, "2")
    assert again.attempts[0].startswith("issue 1: failed")
    assert part(report, "T-001").issue == "1"
    noted = report.punch[0]
    assert (noted.number, noted.category, noted.newest) == ("D1.1", "B", "proven in issue 2")
    assert not [one for one in report.punch if one.about == "level/AT-1.A2"]


def test_as_found_and_as_left_stand_beside_what_is_stated(both):
    report, _ = both
    setpoint = next(one for one in report.settings if one.name == "AT-1 A2 setpoint")
    assert (setpoint.stated, setpoint.found, setpoint.left) == ("20 %LEL", "26 %LEL", "20 %LEL")
    assert setpoint.remark == "changed during the run"
    valve = next(one for one in report.settings if one.name == "V1.active")
    assert (valve.found, valve.left, valve.remark) == ("off", "off", "")
    end_s = report.issues[-1].span_s[1]
    for name in ("AT-1 reading", "V1.active"):
        last = next(one for one in report.settings if one.name == name)
        assert end_s - 5.0 < last.left_s <= end_s


def test_report_json_keeps_to_its_published_schema(first, both):
    schema = report_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for report, _ in (first, both):
        text = report_json(report)
        jsonschema.validate(json.loads(text), schema)
    broken = json.loads(report_json(first[0]))
    broken["parts"][0]["claims"][0]["outcome"] = "passed"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema)


def test_the_same_evidence_makes_the_same_bytes(folder, first, page):
    issues = read_issues(folder / "run.sqlite")
    again = build_report(issues, Chosen("FAT-7", "A", "fat"))
    assert report_json(again) == report_json(first[0])
    assert report_html(report_sheets(again, issues)) == page


def test_junit_has_tests_and_verdicts(first):
    root = ET.fromstring(report_junit(first[0]))
    suites = {suite.get("name"): suite for suite in root}
    tests = suites["gaswitness.plan"]
    assert (tests.get("tests"), tests.get("failures")) == ("2", "1")
    assert tests[1].find("failure").get("message").startswith("level/AT-1.A2: setpoint: ")
    total = sum(int(suite.get("failures")) for suite in root)
    assert int(root.get("failures")) == total == len(root.findall(".//failure"))


def test_steps_and_punch_list_are_tables_without_formulas(first):
    report, _ = first
    rows = list(csv.DictReader(StringIO(steps_csv(report))))
    rise = next(row for row in rows if row["what"] == "cell/any.A1 > B1: rises")
    assert (rise["test"], rise["verdict"], rise["proof"]) == ("T-001", "proven", "reported")
    assert float(rise["response from, s"]) < float(rise["response to, s"])
    assert rise["initials"] == "AQ, BR"
    punch = list(csv.DictReader(StringIO(punch_csv(report))))
    assert punch[0]["what"] == f"'{NOTED}"
    assert {row["category"] for row in punch[1:]} == {"A proposed", "B proposed"}
    book = load_workbook(BytesIO(steps_book(report)))
    assert book.sheetnames == ["steps", "punch list"]
    cell = book["punch list"]["D2"]
    assert (cell.value, cell.data_type) == (NOTED, "s")
    assert book["steps"].max_row == len(rows) + 1


def test_the_command_writes_a_folder_and_overwrites_nothing(folder, tmp_path, capsys):
    out = tmp_path / "out"
    arguments = ["report", str(folder), "-o", str(out), "--document", "FAT-7"]
    assert run(arguments) == 0
    names = ["junit.xml", "punch.csv", "report.html", "report.json", "steps.csv", "steps.xlsx"]
    assert sorted(path.name for path in out.iterdir()) == names
    assert "FAT-7" in (out / "report.html").read_text("utf-8")
    capsys.readouterr()
    assert run(arguments) == 2
    assert "holds files already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["report", "nowhere"], "there is no such file"),
        (["report", "HERE", "--sign", "a.p12"], "--pdf"),
        (["report", "HERE", "--pdf", "--sign-password-env", "NOT_SET_7"], "NOT_SET_7"),
    ],
)
def test_wrong_use_says_the_remedy(arguments, said, tmp_path, capsys):
    arguments = [str(tmp_path) if one == "HERE" else one for one in arguments]
    assert run(arguments) == 2
    assert said in capsys.readouterr().err


def test_a_damaged_record_is_said_to_be_so(folder, tmp_path, capsys):
    """A byte of an entry changed after the fact, by way of the database itself."""
    import shutil
    import sqlite3

    path = tmp_path / "run.sqlite"
    shutil.copy(folder / "run.sqlite", path)
    db = sqlite3.connect(path)
    db.execute("UPDATE entry SET body = replace(body, 'door was open', 'door was shut')")
    db.commit()
    db.close()
    assert run(["report", str(path), "-o", str(tmp_path / "out")]) == 1
    assert "is not as it was written" in capsys.readouterr().err
    said = (tmp_path / "out" / "report.html").read_text("utf-8")
    assert "the record is not whole: BROKEN" in said


def changed_record(bare, path, clock, speed=None):
    """A record as over a real link, whose clock has a date; at `speed` of a served panel."""
    record = Evidence.create(path)
    for entry in read_evidence(bare):
        body = entry.body
        if entry.kind == "run":
            body = {**body, "command": "witness", "clock": {**body["clock"], **clock}}
        record.append(entry.kind, body, entry.at_s)
        if entry.kind == "run" and speed:
            said = "this is a virtual panel: it proves nothing about a real one. It plays "
            record.append("remark", {"text": f"{said}{speed} s in one, and so on", "by": ""}, 2.0)
    record.close()


@pytest.mark.parametrize(("speed", "virtual"), [(None, False), (10, True)])
def test_instants_are_told_in_utc(folder, tmp_path, speed, virtual):
    """A second of the run is a second of UTC, unless a virtual panel was served at a speed."""
    clock = {"kind": "wall", "utc_anchor": "2031-03-04T12:00:00+02:00", "resolution_s": 1e-9}
    path = tmp_path / "run.sqlite"
    changed_record(folder / "run.sqlite", path, clock, speed)
    report = build_report(read_issues(path), Chosen())
    assert report.issues[0].begun_utc == "2031-03-04 10:00:00Z"
    assert report.issues[0].virtual is virtual
    found = part(report, "T-002")
    since = 2.0 + (found.begun_s - 2.0) / (speed or 1)
    moment = datetime(2031, 3, 4, 10, tzinfo=UTC) + timedelta(seconds=since)
    assert found.begun_utc == moment.strftime("%Y-%m-%d %H:%M:%SZ")
    front = " ".join(report.words)
    assert ("The panel says that it is a virtual one" in front) is virtual
    assert "rehearsal" not in front


def test_instants_of_a_resumed_run_count_from_its_own_anchor(folder, tmp_path):
    """A virtual panel served at 20 s in one, the run broken off and resumed: the second part's
    second 0 lies 300 s before it was resumed, since until then no panel said its speed."""
    bare, path = tmp_path / "bare.sqlite", tmp_path / "run.sqlite"
    clock = {"kind": "wall", "utc_anchor": "2031-03-04T10:00:00+00:00", "resolution_s": 1e-9}
    changed_record(folder / "run.sqlite", bare, clock, 20)
    entries = list(read_evidence(bare))
    told = next(one for one in entries if one.kind == "remark" and "It plays" in one.body["text"])
    later = {"clock": {**clock, "utc_anchor": "2031-03-04T10:55:00+00:00", "speed": 1.0}}
    record = Evidence.create(path)
    for entry in entries:
        record.append(entry.kind, entry.body, entry.at_s)
    record.append("resumed", {"after_s": 250.0, **later}, 300.0)
    record.append("remark", told.body, 301.0)
    record.close()
    (issue,) = read_issues(path)
    assert issue.utc(2.0) == "2031-03-04 10:00:02Z"
    assert issue.utc(42.0) == "2031-03-04 10:00:04Z"  # 2 s, then 40 s of the panel in 2
    assert issue.utc(299.0) == "2031-03-04 10:00:16Z"
    assert issue.utc(300.0) == "2031-03-04 11:00:00Z"
    assert issue.utc(301.0) == "2031-03-04 11:00:01Z"
    assert issue.utc(401.0) == "2031-03-04 11:00:06Z"
    # what the panel says of itself stands once among the remarks, though both parts heard it
    said = build_report([issue], Chosen()).issues[0].remarks
    assert sum("this is a virtual panel" in one for one in said) == 1


def test_a_run_that_broke_off_has_a_report_that_says_so(folder, tmp_path):
    path = tmp_path / "run.sqlite"
    record = Evidence.create(path)
    begun = 0
    for entry in read_evidence(folder / "run.sqlite"):
        begun += entry.kind == "test"
        if begun == 2 and entry.kind == "step" and "Wait" in entry.body["words"]:
            break
        record.append(entry.kind, entry.body, entry.at_s)
    record.close()
    issues = read_issues(path)
    report = build_report(issues, Chosen())
    assert report.outcome is not Outcome.PROVEN
    assert any("it broke off, or the record was cut short" in words for words in report.words)
    assert [(one.id, one.how) for one in report.parts] == [
        ("T-001", "done"),
        ("T-002", "broken off"),
    ]
    assert "broken off" in report_html(report_sheets(report, issues))


def test_a_test_that_nobody_began_is_not_forgotten(folder, tmp_path):
    path = tmp_path / "run.sqlite"
    record = Evidence.create(path)
    for entry in read_evidence(folder / "run.sqlite"):
        if entry.kind == "test" and entry.body["id"] == "T-002":
            break
        record.append(entry.kind, entry.body, entry.at_s)
    record.close()
    issues = read_issues(path)
    report = build_report(issues, Chosen())
    last = part(report, "T-002")
    assert (last.how, last.outcome, last.attempt) == ("not begun", Outcome.NOT_RUN, 0)
    assert last.title == "AT-1 closes the valve"


@pytest.mark.parametrize("link", [RehearsalLink.MEMORY, RehearsalLink.MEMORY_RTU])
def test_a_survey_alone_has_a_report_with_every_point_worked_out(tmp_path, link):
    options = RehearsalOptions(tmp_path / "run.sqlite", link=link)
    rehearse(load_site(HERE / "site.yaml"), [], options)
    issues = read_issues(tmp_path)
    report = build_report(issues, Chosen())
    page = report_html(report_sheets(report, issues))
    assert report.parts == ()
    assert "the register map alone was surveyed" in page
    worked = {row.name: row.worked for row in report.points}
    assert all(worked.values())
    # 20 %LEL in tenths is 200, hex 00C8; function 03 asks for register 10, hex 000A
    setpoint = worked["AT-1 A2 setpoint"]
    assert setpoint.value == "20 %LEL"
    assert setpoint.steps[-1] == "200 x 0.1 = 20 %LEL"
    assert [span.text for span in setpoint.response if span.style == "marked"] == ["[00 C8]"]
    asked = "".join(span.text for span in setpoint.request)
    before = "01 03" if link is RehearsalLink.MEMORY_RTU else "00 06 01 03"
    assert f"{before} 00 0A" in asked
    for one in worked.values():
        words = one.steps[-1]
        assert one.value in words or one.value.startswith("0x") or one.value == "no value"


def test_what_could_not_have_been_seen_stands_in_the_report(first, both, page, tree):
    """The probe's own reckoning for the first run; a retest only adds to what was shown."""
    report, issues = first
    found = report.map_defects
    assert found == shown_defects(issues[0].expected)
    assert found.not_shown
    all_ = len(found.shown) + len(found.not_shown)
    front = words(tree.find(".//main"))
    assert f"Of {all_} single defects of the map" in front[: front.index("Contents")]
    section = next(one for one in tree.iter("section") if one.get("id") == "unseen")
    rows = [[words(cell) for cell in row] for row in section.iter("tr")]
    numbers = [int(row[1]) for row in rows if row[1].isdigit()]
    assert sum(numbers) == len(found.not_shown) + len(found.alike)
    assert numbers[0] == max(numbers[: len({one.kind for one in found.not_shown})])
    again = both[0].map_defects
    assert set(found.shown) <= set(again.shown)
    assert {(one.kind, one.place) for one in again.not_shown} <= {
        (one.kind, one.place) for one in found.not_shown
    }
    assert len(again.shown) + len(again.not_shown) == all_


def test_what_says_the_same_of_many_places_stands_in_one_row():
    one, other = (
        NotShown("state A1 under another code", f"{tag} state", "never in A1", f"bring {tag} to A1")
        for tag in ("AT-1", "AT-2")
    )
    ((row,),) = [group.rows for group in _rows([one, other])]
    assert [plain_text(cell.lines[0]) for cell in row] == [
        "state A1 under another code",
        "2",
        "AT-1 state, AT-2 state",
        "never in A1",
        "bring each to A1",
    ]
    ((row,),) = [group.rows for group in _rows([one])]
    assert plain_text(row[4].lines[0]) == "bring AT-1 to A1"


def _rows(told):
    report = SimpleNamespace(map_defects=ShownDefects((), tuple(told), ()))
    return unseen(report).blocks[1].groups


def test_a_survey_weighs_no_defects(tmp_path):
    rehearse(load_site(HERE / "site.yaml"), [], RehearsalOptions(tmp_path / "run.sqlite"))
    issues = read_issues(tmp_path)
    report = build_report(issues, Chosen())
    assert report.map_defects is None
    assert "single defects" not in " ".join(report.words)
    assert json.loads(report_json(report))["map_defects"] is None
    jsonschema.Draft202012Validator(report_schema()).validate(json.loads(report_json(report)))
