"""The matrix as a picture, line for line."""

from gaswitness.matrix_picture import matrix_picture
from gaswitness_probe.verdict import Outcome
from gaswitness_sitefile.site import Site

VOTE = "2oo3(AT-101.A2, AT-102.A2, AT-103.A2)"


def test_each_cell_has_its_mark(site: Site) -> None:
    outcomes = {
        "AT-101.A1 > BN-1": Outcome.PROVEN,
        f"{VOTE} > BN-1": Outcome.FAILED,
        f"{VOTE} > XV-1": Outcome.INCONCLUSIVE,
        "panel.fault > XV-1": Outcome.NOT_RUN,
    }
    assert matrix_picture(site, outcomes).splitlines() == [
        "                                      1  2",
        "  AT-101.A1                           P  .",
        "  2oo3(AT-101.A2, AT-102.A2,          F  ?",
        "    AT-103.A2)",
        "  panel.fault                         .  o",
        "",
        "  1  BN-1  Beacon over the door",
        "  2  XV-1  valve",
    ]


def test_a_cell_without_a_verdict_is_told_from_no_cell(site: Site) -> None:
    first = matrix_picture(site, {}).splitlines()[1]
    assert first.split() == ["AT-101.A1", "-", "."]


def test_many_effects_go_on_further_sheets(site: Site) -> None:
    outputs = [{"tag": f"K{n}", "kind": "relay"} for n in range(1, 41)]
    cells = [{"cause": "AT-101.A1", "effect": f"K{n}", "response_s": 3} for n in range(1, 41)]
    big = Site.model_validate(site.model_dump() | {"outputs": outputs, "matrix": cells})
    picture = matrix_picture(big, {f"AT-101.A1 > K{n}": Outcome.PROVEN for n in range(1, 41)}, 80)
    assert max(len(line) for line in picture.splitlines()) <= 80
    marks = [line.split()[1:] for line in picture.splitlines() if "AT-101.A1" in line]
    assert [len(row) for row in marks] == [23, 17]
    assert {mark for row in marks for mark in row} == {"P"}


def test_a_sheet_leaves_out_causes_without_a_cell_on_it(site: Site) -> None:
    outputs = [{"tag": f"K{n}", "kind": "relay"} for n in range(1, 41)]
    cells = [{"cause": "AT-101.A1", "effect": f"K{n}", "response_s": 3} for n in range(1, 40)]
    cells.append({"cause": "panel.fault", "effect": "K40", "response_s": 3})
    big = Site.model_validate(site.model_dump() | {"outputs": outputs, "matrix": cells})
    assert matrix_picture(big, {}, 80).count("panel.fault") == 1


def test_causes_wrap_before_effects_go_on_another_sheet(site: Site) -> None:
    outputs = [{"tag": f"K{n}", "kind": "relay"} for n in range(1, 18)]
    cells = [{"cause": VOTE, "effect": f"K{n}", "response_s": 3} for n in range(1, 18)]
    wide = Site.model_validate(site.model_dump() | {"outputs": outputs, "matrix": cells})
    lines = matrix_picture(wide, {}, 80).splitlines()
    assert lines[0].split() == [str(n) for n in range(1, 18)]
    assert [lines[1][:29].strip(), lines[2]] == ["2oo3(AT-101.A2, AT-102.A2,", "    AT-103.A2)"]
    assert lines[1][29:].split() == ["-"] * 17
