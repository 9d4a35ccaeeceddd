"""`gaswitness handover`: what stands in the page, the workbook and the tables, against the site."""

import csv
import re
import shutil
import warnings
from itertools import pairwise
from pathlib import Path

import html5lib
import pytest
from openpyxl import load_workbook

from gaswitness.cli import run
from gaswitness.handover import handover
from gaswitness.handover_beside import beside_rows, shows_events
from gaswitness.handover_matrix import SHEETS, SMALLEST_PT, Extent, sheet_for
from gaswitness.handover_page import handover_page
from gaswitness.handover_points import alike, at_rest
from gaswitness.handover_polling import client_rules, gap_rows, liveness, way_facts, ways
from gaswitness.handover_words import fault_words
from gaswitness_probe.decode import decode
from gaswitness_probe.read_plan import largest_read, plan_reads
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_sitefile.channel import ReadingOnFault
from gaswitness_sitefile.link import Link
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import Access, PointType
from gaswitness_sitefile.records import Queue, RecordFile

ROOT = Path(__file__).parents[2]
SITES = ROOT / "scenarios" / "sites"
PATHS = [
    SITES / "fernhollow" / "site.yaml",
    SITES / "coldbrook" / "site.yaml",
    SITES / "saltmarsh" / "site.yaml",
    ROOT / "tests" / "sitefile" / "good" / "cellar.yaml",
]


def made(path):
    loaded = load_site(path)
    return handover(loaded.site, loaded.sha256, "gaswitness test")


@pytest.fixture(scope="module")
def demo():
    return made(PATHS[0])


@pytest.fixture(scope="module")
def page(demo):
    """The demo's page by another library's strict parser (HTML Living Standard, chapter 13)."""
    return parsed(handover_page(demo))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The demo's files, as the command writes them."""
    out = tmp_path_factory.mktemp("handover") / "out"
    assert run(["handover", str(PATHS[0]), "-o", str(out)]) == 0
    return out


def parsed(text):
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def text_of(found):
    return " ".join("".join(found.itertext()).split())


def table_of(page, id_):
    """The rows of a table as text, by the id of its region."""
    found = next(
        one for one in page.iter("table")
        if (one.find("caption") is not None and one.find("caption").get("id") == f"{id_}-caption")
    )  # fmt: skip
    return [[text_of(cell) for cell in row] for row in found.find("tbody")]


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.parent.name)
def test_the_page_of_every_site_is_valid_and_can_be_read_by_ear(path):
    text = handover_page(made(path))
    tree = parsed(text)
    assert tree.get("lang") == "en"
    ids = [one.get("id") for one in tree.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    assert {link.get("href") for link in tree.iter("a")} <= {f"#{one}" for one in ids}
    for region in tree.iter("section"):
        assert region.get("aria-labelledby") in ids
    for one in tree.iter("table"):
        assert one.find("caption") is not None or one.get("class") == "facts"
        assert all(head.get("scope") in ("row", "col") for head in one.iter("th"))
    levels = [int(one.tag[1]) for one in tree.iter() if re.fullmatch("h[1-6]", str(one.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    # WCAG 2.2, technique G141: no level of heading is left out
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert not re.search(r"(src|href)=\"(?!#)|url\(|<script", text)


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.parent.name)
def test_the_blocks_bring_every_readable_point_where_the_sheet_says(path):
    sheet = made(path)
    site, rest = sheet.site, RestPanel(sheet.site)
    blocks = sheet.ways[0].blocks
    for block in blocks:
        assert block.count <= largest_read(site, block.table)
    for entry in sheet.entries:
        point = entry.point
        if point.access is Access.WRITE:
            assert entry.where == ""
            continue
        block = blocks[entry.block - 1]
        data = rest.read(block.table, block.address, block.count)
        words = data[entry.place : entry.place + point.width]
        if point.shows != "heartbeat":
            rested = next(one for one in entry.examples if "at rest" in one.case)
            assert decode(point, words) == rested.value


def test_a_row_of_the_points_list_says_it_in_both_notations(page):
    rows = {row[0]: row for row in table_of(page, "points-list")}
    # V1.1b3 clause 4.4: element X of the model is PDU address X - 1; first digits a convention
    row = rows["AT-401 A1 setpoint"]
    assert row[1].startswith("AT-401 (Rink, player boxes, CO): setpoint of A1")
    assert row[1].endswith("Building management may move it")
    assert row[2:] == [
        "holding register", "03, 06, 16", "126", "0x007E", "400127",
        "int16", "raw \u00d7 0.1", "ppm", "0 to 300", "read, write", "", "", "5: 26",
    ]  # fmt: skip
    assert rows["AT-201 reading"][7:] == [
        "float32, CDAB: low word first", "", "%LEL", "-10 to 110", "read",
        "keeps the last good reading, and looks alive: take AT-201.fault with it", "", "6: 10",
    ]  # fmt: skip
    assert "A2: on at 35 ppm and above; latches until reset" in rows["AT-101 A2"][1]
    assert "A1: on at 25 ppm and above, off below 23" in rows["AT-101 A1"][1]
    assert "A1: on at 19.5 %vol and below, off above 19.7" in rows["AT-601 A1"][1]
    assert rows["AT-301 A1"][12] == "goes off, though there may be gas"
    assert rows["K1 coil energised"][13] == "1"
    assert rows["K2 coil energised"][13] == "0"
    assert "8 fault; 9 inhibit" in rows["AT-101 state"][1]
    assert "flags: 0 AT-101.A1; 1 AT-102.A1" in rows["Plant-room alarms"][1]
    assert [
        "Plant-room alarms", "300057", "7", "0080",
        "AT-104 (Plant room, under the ceiling, NH3): alarm level A2: on at 20 %LEL and above; "
        "latches until reset",
    ] in table_of(page, "bit-list")  # fmt: skip
    assert len(rows) == 156


def test_example_values_stand_with_registers_and_bytes(page):
    rows = table_of(page, "value-list")
    found = {(row[0].split(" float32")[0].split(" int16")[0], row[1]): row[2:] for row in rows}
    ammonia = "AT-101 reading, AT-102 reading, AT-103 reading"
    # IEEE 754-2019: 25 is 41C80000 in binary32, the quiet NaN 7FC00000; two's complement by hand
    assert found[ammonia, "at A1"] == ["25 ppm", "41C8 0000", "41 C8 00 00"]
    assert found[ammonia, "in fault: NaN"] == ["no value", "7FC0 0000", "7F C0 00 00"]
    assert found["AT-201 reading, AT-202 reading", "at A1"] == [
        "10 %LEL", "0000 4120", "00 00 41 20",
    ]  # fmt: skip
    assert found["AT-301 reading", "under-range (negative)"] == ["-10 %LEL", "FF9C", "FF 9C"]
    assert found["AT-301 reading", "in fault: sentinel"] == ["no value", "8000", "80 00"]


def test_the_poll_blocks_are_those_of_the_read_plan(demo, page):
    plan = plan_reads(demo.site, demo.site.links[0].where)
    rows = table_of(page, "blocks-1")
    assert [(int(row[1]), int(row[3]), int(row[6])) for row in rows] == [
        (block.table.read_function, block.address, block.count) for block in plan
    ]
    # V1.1b3 clause 6.4 within an MBAP frame: 12 bytes asked, 9 and two a register answered
    assert rows[-1][4:7] == ["0x0000", "300001", "59"]
    assert rows[-1][9] == "12 + 127"


def test_the_drawing_holds_every_cell_and_no_other(demo, page):
    site = demo.site
    found = next(one for one in page.iter("table") if one.get("class") == "matrix")
    effects = [text_of(head).split()[0] for head in found.find("thead").iter("th")][2:]
    drawn = {}
    for row in found.find("tbody"):
        cause, _, *marks = (text_of(cell) for cell in row)
        drawn |= {
            (cause.replace("\u2011", "-"), effect): mark
            for effect, mark in zip(effects, marks, strict=True)
            if mark
        }
    assert set(drawn) == {(cell.cause, cell.effect) for cell in site.matrix}
    for cell in site.matrix:
        mark = drawn[cell.cause, cell.effect]
        assert mark[0] == ("L" if cell.latching else "X")
        assert (f" {cell.on_delay_s:g}s" in mark) == (cell.on_delay_s > 0)
        assert (f"off {cell.off_delay_s:g}s" in mark) == (cell.off_delay_s > 0)
        assert (f"in {cell.response_s:g}s" in mark) == (cell.response_s != 4)
    legend = text_of(next(one for one in page.iter("div") if one.get("class") == "legend"))
    assert "Energised at rest, dropping to act (fail-safe): K1, K3, K4, V1, V2." in legend
    assert "2oo3(a, b, c): a vote" in legend


def test_the_sheet_grows_with_the_drawing_and_its_letters_stay_readable():
    # ISO 216: A4 is 210 by 297 mm; 72 points are 25.4 mm
    small, large, huge = Extent(60, 40), Extent(140, 90), Extent(900, 900)
    assert (sheet_for(small).paper, sheet_for(small).points) == ("A4", 9.0)
    assert sheet_for(large).paper == "A3"
    assert not sheet_for(huge).fits
    for wide in range(50, 400, 25):
        found = sheet_for(Extent(wide, wide / 1.5))
        if found.fits:
            _, width_mm, height_mm = SHEETS[found.size]
            letter_mm = found.points * 25.4 / 72
            assert found.points >= SMALLEST_PT
            assert wide * letter_mm <= width_mm - 16
            assert wide / 1.5 * letter_mm <= height_mm - 16


def test_the_css_puts_the_drawing_on_a_page_of_its_own(demo):
    text = handover_page(demo)
    assert "@page matrix { size: 420mm 297mm;" in text
    assert "#matrix { page: matrix; break-before: page; break-after: page;" in text
    assert "thead { display: table-header-group; }" in text


def test_the_panel_says_how_it_is_reached():
    site = load_site(PATHS[0]).site
    link = {"name": "line", "address": "rtu:///dev/ttyUSB0?baud=9600&parity=none&unit=7"}
    other = site.model_copy(update={"links": (Link.model_validate(link),)})
    (way,) = ways(other)
    facts = dict(way_facts(way))
    # V1.02 clause 2.5.1: without parity two stop bits; 3.5 characters of 11 bits at 9600 baud
    assert facts["Serial settings"] == "9600 baud, 8 data bits, no parity, 2 stop bits"
    assert facts["Silence between frames"] == "4.0 ms (3.5 characters)"
    assert (facts["Unit id"], way.unit, way.rtu) == ("7", 7, True)
    (no_link,) = ways(site.model_copy(update={"links": ()}))
    assert dict(way_facts(no_link)) == {"Address": "not in the site file: agree on it"}


def test_gaps_and_pace_are_told_as_the_site_file_has_them(demo):
    gaps = {row[0]: row[2:] for row in gap_rows(demo.site)}
    assert gaps["coil"] == (
        "0 to 14, 32 to 34",
        "a read that touches any other address gets exception 02, and no data",
    )
    assert gaps["input register"][1].startswith("unmapped addresses between them read as 0")
    rules = " ".join(client_rules(demo.site))
    assert "time-out of 1 s. Then leave 10 ms" in rules
    assert "at most 125 registers or 2000 bits" in rules
    assert "alarms count only after 30 s" in rules


def test_files_queues_and_the_event_log_are_told():
    site = load_site(PATHS[3]).site
    assert list(beside_rows(site)) == []
    assert not shows_events(site)
    files = (
        RecordFile(number=4, name="trend", records=100, writable=True),
        RecordFile(number=5, name="log", records=42, content="events"),
    )
    rules = site.map.model_copy(update={"files": files, "queues": (Queue(pointer=1246),)})
    other = site.model_copy(update={"map": rules})
    # V1.1b3 clauses 6.14, 6.15, 6.18: functions 20, 21, 24
    rows = list(beside_rows(other))
    assert [row[:3] for row in rows] == [
        ("file trend", "4", "20 (0x14), 21 (0x15)"),
        ("file log", "5", "20 (0x14)"),
        ("queue", "1246", "24 (0x18)"),
    ]
    assert shows_events(other)
    page = parsed(handover_page(handover(other, "0" * 64, "test")))
    assert ["subject", "2001", "K-FAN"] in table_of(page, "events")
    assert ["event", "1", "A1 on"] in table_of(page, "events")


def test_liveness_is_told_with_and_without_a_heartbeat(demo):
    assert "Heartbeat (400001) changes every 2 s" in liveness(demo.site)
    points = tuple(point for point in demo.site.points if point.shows != "heartbeat")
    assert "no heartbeat" in liveness(demo.site.model_copy(update={"points": points}))
    timing = demo.site.timing.model_copy(update={"heartbeat_s": None})
    assert "does not say how often" in liveness(demo.site.model_copy(update={"timing": timing}))


def test_points_alike_are_shown_once_and_none_is_lost(demo):
    shown = [entry.point.name for group, _ in alike(demo.entries) for entry in group]
    bits = (PointType.BIT, PointType.BIT_IN_WORD)
    assert sorted(shown) == sorted(
        point.name for point in demo.site.points if point.type not in bits
    )
    rested = [at_rest(entry) for entry in demo.entries if entry.point.type in bits]
    assert set(rested) == {"0", "1"}


def test_the_files_are_there_and_the_tables_hold_all_points(folder):
    assert sorted(path.name for path in folder.iterdir()) == [
        "cause-and-effect.csv", "example-values.csv", "handover.html", "handover.xlsx",
        "points.csv", "poll-blocks.csv",
    ]  # fmt: skip
    points = rows_of(folder / "points.csv")
    site = load_site(PATHS[0]).site
    assert [row["name"] for row in points] == [point.name for point in site.points]
    row = next(row for row in points if row["name"] == "AT-601 reading")
    assert (row["address (PDU)"], row["address (hex)"], row["reference"]) == (
        "26", "0x001A", "300027",
    )  # fmt: skip
    assert (row["sentinel"], row["block"], row["place in block"]) == ("65535", "6", "26")
    values = rows_of(folder / "example-values.csv")
    assert {row["name"] for row in values} == {point.name for point in site.points}
    assert list(values[6].values()) == [
        "AT-101 reading", "under-range (negative)", "-10", "ppm", "C120 0000", "C1 20 00 00", "",
    ]  # fmt: skip
    assert list(values[7].values()) == [
        "AT-101 reading", "in fault: NaN", "", "", "7FC0 0000", "7F C0 00 00", "no value",
    ]  # fmt: skip


def test_the_workbook_has_the_same_tables_and_no_formula(folder):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        book = load_workbook(folder / "handover.xlsx")
    assert book.sheetnames == [
        "panel", "points", "example-values", "poll-blocks", "cause-and-effect", "notation",
    ]  # fmt: skip
    for name in ("points", "example-values", "poll-blocks", "cause-and-effect"):
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            listed = list(csv.reader(file))
        sheet = [[_text(cell) for cell in row] for row in book[name].iter_rows(values_only=True)]
        assert sheet == listed
        assert book[name].page_setup.fitToWidth == 1
    cells = (cell for sheet in book for row in sheet.iter_rows() for cell in row)
    assert [cell.coordinate for cell in cells if cell.data_type == "f"] == []


def _text(value):
    return "" if value is None else str(value)


def test_foreign_text_neither_scripts_nor_reckons(tmp_path):
    shutil.copytree(SITES / "fernhollow", tmp_path / "site")
    for name, old, new in (
        ("site.yaml", "name: Common fault,", 'name: "=1+1</td><script>x</script>",'),
        ("points.csv", "Map revision,", "<b>@map,"),
        ("matrix.csv", "After the compressors", "-1+<i>"),
    ):
        path = tmp_path / "site" / name
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new), "utf-8")
    out = tmp_path / "out"
    assert run(["handover", str(tmp_path / "site"), "-o", str(out)]) == 0
    tree = parsed((out / "handover.html").read_text("utf-8"))
    assert not [one for name in ("script", "b", "i") for one in tree.iter(name)]
    assert "<b>@map" in text_of(tree.find(".//main"))
    text = (out / "cause-and-effect.csv").read_text("utf-8")
    assert "note 6,'-1+<i>," in text


def test_nothing_is_overwritten(folder, tmp_path, capsys, monkeypatch):
    assert run(["handover", str(PATHS[3]), "-o", str(folder)]) == 2
    assert "holds files already" in capsys.readouterr().err
    monkeypatch.chdir(tmp_path)
    assert run(["handover", str(PATHS[3])]) == 0
    assert (tmp_path / "handover-GDP-7" / "handover.html").is_file()
    assert "17 points, " in capsys.readouterr().out


def test_a_caution_stands_at_the_head(page):
    caution = next(one for one in page.iter("p") if one.get("class") == "caution")
    assert "no part of a safety function" in text_of(caution)
    assert "maker's manual and licensed practice come first" in text_of(caution)


def test_a_reading_of_nothing_in_fault_is_no_clean_air_of_oxygen() -> None:
    """Air holds 20.9 %vol of oxygen (ISO 2533), and next to none of any gas that is watched for."""
    site = load_site(PATHS[0]).site
    zero = {"on_fault": ReadingOnFault.ZERO}
    channels = tuple(channel.model_copy(update=zero) for channel in site.channels)
    changed = site.model_copy(update={"channels": channels})
    words = {
        point.subject: fault_words(changed, point)
        for point in site.points
        if point.shows.endswith(".reading")
    }
    assert words["AT-501"].startswith("shows 0, which looks like clean air")
    assert words["AT-601"].startswith("shows 0, which looks like no oxygen at all")
