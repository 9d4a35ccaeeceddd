"""Whatever stands in a file, reading it ends in a site or a clear error, never in a traceback."""

import math
import random
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.rules import design_warnings

GOOD = Path(__file__).parent / "good"
VALIDATOR_WORDS = ("Input should", "pydantic", "[type=", "https://errors", "NoneType", "Traceback")
PIECES = (
    b"\t", b"\0", b"\xff", b"{", b"}", b"[", b"]", b": ", b"- ", b"&a ", b"*a", b"<<: ", b"!!x ",
    b"'", b'"', b"|", b"> ", b"#", b"%", b"@", b"~", b"null", b"true", b".inf", b".nan", b"-1",
    b"0", b"1e400", b"99999999999999999999", b"\n", b"\r", b"  ", b"\xe2\x80\xa8", b"\xc2\x85",
    b"---\n", b"...\n", b"? ", b",", b";", b"=", b"NOT ", b"((((", b"2oo3(", b"0x", b"5,5",
)  # fmt: skip


@st.composite
def mutations(draw):
    return draw(
        st.lists(
            st.tuples(
                st.integers(0, 100_000),
                st.integers(0, 40),
                st.one_of(st.sampled_from(PIECES), st.binary(max_size=6)),
            ),
            min_size=1,
            max_size=4,
        )
    )


def mutated(content, changes):
    for at, cut, piece in changes:
        start = at % (len(content) + 1)
        content = content[:start] + piece + content[start + cut :]
    return content


def loads_or_explains(path):
    problems = ()
    try:
        loaded = load_site(path)
    except SiteFileError as error:
        problems = error.problems
        said = str(error)
    else:
        said = "\n".join(str(one) for one in design_warnings(loaded))
    assert all(p.place.line >= 1 and p.place.column >= 1 and p.remedy for p in problems), said
    assert not any(word in said for word in VALIDATOR_WORDS), said


ASKED = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@ASKED
@given(changes=mutations())
def test_a_mutated_site_file_loads_or_explains(tmp_path, changes):
    path = tmp_path / "site.yaml"
    path.write_bytes(mutated((GOOD / "cellar.yaml").read_bytes(), changes))

    loads_or_explains(path)


@ASKED
@given(name=st.sampled_from(["channels", "outputs", "matrix", "points"]), changes=mutations())
def test_a_mutated_table_loads_or_explains(tmp_path, name, changes):
    folder = tmp_path / "cellar"
    if not folder.exists():
        shutil.copytree(GOOD, folder)
    whole = (GOOD / f"{name}.csv").read_bytes()
    (folder / f"{name}.csv").write_bytes(mutated(whole, changes))
    try:
        loads_or_explains(folder / "cellar-tables.yaml")
    finally:
        (folder / f"{name}.csv").write_bytes(whole)


VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**70), 2**70)
    | st.floats()
    | st.sampled_from(["", "AT-1", "AT-1.A1", "NO", "5,5", "panel", "((", "%LEL", "input register"])
    | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["tag", "A1", "file", "setpoint", "0", "x"]), inner)
    ),
    max_leaves=6,
)


def as_yaml(value):
    """A value in YAML's flow style; JSON is YAML but for infinities and odd signs."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {as_yaml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_yaml, value)) + "]"
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(sign):08X}" for sign in value) + '"'
    if isinstance(value, float) and not math.isfinite(value):
        return ".nan" if math.isnan(value) else ".inf" if value > 0 else "-.inf"
    if value is None or isinstance(value, bool):
        return {True: "true", False: "false", None: "null"}[value]
    return repr(value)


KEYS = (
    "gaswitness_site: 1", "tag: GDP-7", "gas: CO2", "range: [0, 5]", "kind: fan", "at: AT-2",
    "response_s: 5", "cause: any.A1", "effect: K-FAN", "notation: reference", "address: 30003",
    "type: float32", "shows: AT-2.reading", "order: CDAB", "scale: 0.01", "sentinel: 65535",
    "codes: {0: normal, 1: A1, 2: A2, 3: fault, 4: warm_up, 5: inhibit}", "length: 4",
    "value: CELLAR",
    "low: -10", "gaps: {holding register: zeros}", "poll_period_s: 0.5", "on_fault: sentinel",
    "bits: {0: AT-1.A1, 1: AT-1.A2, 2: AT-1.fault}", "A1: {setpoint: 20, hysteresis: 2}",
)  # fmt: skip


@ASKED
@given(key=st.sampled_from(KEYS), value=VALUES)
def test_any_value_under_a_key_loads_or_explains(tmp_path, key, value):
    text = (GOOD / "cellar.yaml").read_text(encoding="utf-8")
    name = key.partition(":")[0]
    path = tmp_path / "site.yaml"
    path.write_text(text.replace(key, f"{name}: {as_yaml(value)}", 1), encoding="utf-8")

    loads_or_explains(path)


@pytest.mark.parametrize("seed", range(25))
def test_a_mutated_workbook_loads_or_explains(tmp_path, seed):
    book = Workbook()
    book.active.append(["tag", "name", "kind"])
    book.active.append(["PB-1", "Stop at the door", "stop button"])
    book.save(tmp_path / "inputs.xlsx")
    text = (GOOD / "cellar.yaml").read_text(encoding="utf-8")
    inline = "inputs:\n  - {tag: PB-1, name: Stop at the door, kind: stop button}\n"
    assert inline in text
    path = tmp_path / "site.yaml"
    path.write_text(text.replace(inline, "inputs: {file: inputs.xlsx}\n"), encoding="utf-8")
    whole = (tmp_path / "inputs.xlsx").read_bytes()
    chance = random.Random(seed)
    changes = [
        (chance.randrange(len(whole)), chance.randrange(9), chance.randbytes(3)) for _ in range(4)
    ]
    (tmp_path / "inputs.xlsx").write_bytes(mutated(whole, changes))

    loads_or_explains(path)
