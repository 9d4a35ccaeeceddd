"""Loading whole: digests, places, defaults, and how fast a large site is."""

import shutil
import time

import pytest

from gaswitness_sitefile.channel import Unit
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.points import Order


def test_digest_does_not_depend_on_the_folder(good, cellar_folder):
    here = load_site(good / "cellar-tables.yaml")
    there = load_site(cellar_folder / "cellar-tables.yaml")

    assert here.sha256 == there.sha256
    assert len(here.sha256) == 64


@pytest.mark.parametrize("name", ["cellar-tables.yaml", "points.csv", "inputs.csv"])
def test_digest_covers_every_file(good, cellar_folder, name):
    path = cellar_folder / name
    path.write_bytes(path.read_bytes() + b"# a remark\n")

    changed = load_site(cellar_folder / "cellar-tables.yaml")

    assert changed.sha256 != load_site(good / "cellar-tables.yaml").sha256
    assert changed.site == load_site(good / "cellar-tables.yaml").site


def test_digest_covers_the_names_of_tables(cellar_folder):
    before = load_site(cellar_folder / "cellar-tables.yaml")
    shutil.move(cellar_folder / "points.csv", cellar_folder / "pointz.csv")
    path = cellar_folder / "cellar-tables.yaml"
    path.write_bytes(path.read_bytes().replace(b"points.csv", b"pointz.csv"))

    after = load_site(path)

    assert [file.name for file in after.files] == [
        "cellar-tables.yaml",
        "channels.csv",
        "inputs.csv",
        "matrix.csv",
        "outputs.csv",
        "pointz.csv",
    ]
    assert after.sha256 != before.sha256


def test_files_keep_their_bytes(good):
    loaded = load_site(good / "cellar-tables.yaml")

    assert loaded.files[5].content == (good / "points.csv").read_bytes()


def test_places_lead_into_the_site_file(good):
    loaded = load_site(good / "cellar.yaml")

    assert loaded.place_of(("points", 4, "address")).line == 61
    assert loaded.place_of(("channels", 1, "levels", "A2")).line == 33
    assert loaded.place_of(("timing",)).line == 11
    assert loaded.place_of(("points", 99)).line == 56


def test_the_order_of_the_map_is_the_default_of_its_points(changed, loaded):
    site = loaded(changed(("notation: reference", "notation: reference, order: BADC"))).site

    orders = {point.name: point.order for point in site.points}
    assert orders["co2"] is Order.BADC
    assert orders["o2"] is Order.CDAB


def test_nitrogen_monoxide_is_no_truth_value(changed, loaded):
    assert loaded(changed(("gas: propane", "gas: NO"))).site.channels[2].gas == "NO"


def test_a_constant_may_name_one_of_its_codes(changed, loaded):
    text = changed(
        (
            "type: uint16, shows: constant, value: 12",
            "type: enumeration, codes: {1: left, 2: right}, shows: constant, value: left",
        )
    )

    assert loaded(text).site.points[10].value == "left"


def test_a_date_as_revision_is_text(good):
    assert load_site(good / "cellar.yaml").site.panel.document_revision == "2026-03-01"


def test_oxygen_by_name_is_clean_at_20_9(changed, loaded):
    site = loaded(changed(("gas: O2", "gas: oxygen"))).site

    assert (site.channels[1].clean_reading, site.channels[1].unit) == (20.9, Unit.VOL)


def test_a_table_below_and_above_the_site_file_is_found(cellar_folder):
    (cellar_folder / "sub").mkdir()
    shutil.move(cellar_folder / "points.csv", cellar_folder / "sub" / "points.csv")
    shutil.copy(cellar_folder / "cellar-tables.yaml", cellar_folder / "sub" / "site.yaml")
    text = (cellar_folder / "sub" / "site.yaml").read_text(encoding="utf-8")
    for name in ("channels", "inputs", "outputs", "matrix"):
        text = text.replace(f"{name}.csv", f"../{name}.csv")
    (cellar_folder / "sub" / "site.yaml").write_text(text, encoding="utf-8")
    path = cellar_folder / "cellar-tables.yaml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("points.csv", "sub\\points.csv"), encoding="utf-8"
    )

    below = load_site(path)
    beside = load_site(cellar_folder / "sub" / "site.yaml")

    assert below.site == beside.site
    assert [file.name for file in below.files][-1] == "sub/points.csv"


@pytest.fixture
def large(tmp_path):
    """64 channels, 64 outputs, 64 cells, 600 points; inline and as CSV."""
    channels = "".join(
        f"  - tag: AT-{n:03d}\n    gas: CH4\n    unit: '%LEL'\n    range: [0, 100]\n"
        "    levels:\n      A1: {setpoint: 20, hysteresis: 2}\n"
        "      A2: {setpoint: 40, hysteresis: 2, latching: true}\n"
        for n in range(64)
    )
    outputs = "".join(f"  - {{tag: K{n}, kind: relay}}\n" for n in range(64))
    cells = "".join(
        f"  - {{cause: AT-{n:03d}.A1, effect: K{n}, response_s: 5}}\n" for n in range(64)
    )
    rows = [
        (f"p{n}", "input register", n, "uint16", f"AT-{n % 64:03d}.reading", 0.1, "%LEL")
        for n in range(600)
    ]
    names = ("name", "table", "address", "type", "shows", "scale", "unit")
    head = (
        "gaswitness_site: 1\npanel: {tag: P}\n"
        f"channels:\n{channels}outputs:\n{outputs}matrix:\n{cells}"
    )
    inline = "".join(
        "  - {" + ", ".join(f"{k}: '{v}'" for k, v in zip(names, row, strict=True)) + "}\n"
        for row in rows
    )
    (tmp_path / "inline.yaml").write_text(f"{head}points:\n{inline}", encoding="utf-8")
    (tmp_path / "csv.yaml").write_text(f"{head}points: {{file: points.csv}}\n", encoding="utf-8")
    lines = [",".join(names), *(",".join(map(str, row)) for row in rows)]
    (tmp_path / "points.csv").write_text("\n".join(lines), encoding="utf-8")
    return tmp_path


def test_a_large_site_loads_within_two_seconds_of_work(large):
    for name in ("inline.yaml", "csv.yaml"):
        began = time.process_time()
        site = load_site(large / name).site
        assert time.process_time() - began < 2.0
        assert (len(site.points), len(site.channels)) == (600, 64)
