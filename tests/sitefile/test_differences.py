"""Differences between site files: every field is seen, one change is one line, both ways alike."""

import types
from collections.abc import Iterator
from copy import deepcopy
from enum import Enum
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from gaswitness_scenarios.library import demo_site_path
from gaswitness_sitefile.differences import Difference, Kind, differences
from gaswitness_sitefile.load import load_site
from gaswitness_sitefile.site import Site

DEMO = load_site(demo_site_path()).site
DATA = DEMO.model_dump(by_alias=True)


def demo(change) -> Site:
    data = deepcopy(DATA)
    for section in ("links", "channels", "inputs", "outputs", "matrix", "points"):
        data[section] = list(data[section])
    change(data)
    return Site.model_validate(data)


def said(change) -> list[str]:
    return [one.text for one in differences(DEMO, demo(change))]


def test_a_site_does_not_differ_from_itself():
    assert differences(DEMO, DEMO) == ()


def test_a_moved_setpoint_is_said_with_its_level_channel_and_unit():
    def change(data):
        data["channels"][4]["levels"]["A2"]["setpoint"] = 25

    assert said(change) == ["setpoint A2 of AT-201: 20 -> 25 %LEL"]


def test_a_cell_left_out_is_named():
    assert said(lambda data: data["matrix"].pop(6)) == ["cell AT-201.A2 > V1 is missing in B"]


def test_a_moved_point_is_said_with_its_references():
    def change(data):
        data["points"][6]["address"] = 30

    assert said(change) == ["point AT-301 reading: address 20 -> 30 (300021 -> 300031)"]


def test_a_relay_no_longer_fail_safe_is_said_so():
    def change(data):
        data["outputs"][0]["normally_energised"] = False

    assert said(change) == ["relay K1: normally energised -> not"]


def test_a_renamed_point_at_its_place_is_not_a_lost_one():
    def change(data):
        data["points"][6]["name"] = "Hydrogen"

    assert said(change) == ["point AT-301 reading is called Hydrogen in B"]


def renamed(value):
    if isinstance(value, dict):
        return {key: renamed(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [renamed(one) for one in value]
    return value.replace("AT-301", "HY-1") if type(value) is str else value


def test_a_lost_cell_of_a_renamed_channel_is_called_as_its_own_file_does():
    other = renamed(DATA)
    other["matrix"] = [one for one in other["matrix"] if "HY-1.A1" not in one["cause"]]
    other = Site.model_validate(other)
    assert "cell AT-301.A1 > F2 is missing in B" in [d.text for d in differences(DEMO, other)]
    assert "cell AT-301.A1 > F2 is missing in A" in [d.text for d in differences(other, DEMO)]


def test_a_renamed_channel_is_said_once_and_not_again_in_every_cell():
    found = differences(DEMO, Site.model_validate(renamed(DATA)))
    assert found[0].text == "channel AT-301 is called HY-1 in B"
    assert {one.kind for one in found} == {Kind.RENAMED}
    assert {one.group for one in found} == {"channels", "points"}


def test_another_cause_in_a_cell_is_one_difference():
    def change(data):
        data["matrix"][1]["cause"] = "any.A2"

    assert said(change) == ["cell any.A1 > K2: cause 'any.A1' -> 'any.A2'"]


def test_the_order_of_rows_and_of_votes_does_not_count():
    def change(data):
        for section in ("channels", "inputs", "outputs", "matrix", "points"):
            data[section].reverse()
        data["matrix"][-3]["cause"] = "2oo3(AT-103.A2, AT-101.A2, AT-102.A2)"

    assert said(change) == []


def test_a_default_written_out_is_no_difference():
    def change(data):
        data["channels"][9]["over_range"] = 33_000.0  # 10 % beyond a range of 0..30000
        data["channels"][0]["clean"] = 0.0
        data["timing"]["level_response_s"] = 1.1  # two scans and a refresh

    assert said(change) == []


def test_what_was_left_out_is_told_with_what_it_comes_to():
    def change(data):
        data["channels"][0]["tolerance"] = None

    assert said(change) == ["tolerance of AT-101: 3 -> left out (that is 5) ppm"]


def test_a_unit_stands_with_its_number_where_nothing_takes_its_place():
    def change(data):
        data["timing"]["heartbeat_s"] = None

    assert said(change) == ["timing: heartbeat 2 s -> left out"]


def test_what_an_output_draws_is_not_the_output():
    def change(data):
        data["bus"]["outputs"] = data["bus"]["outputs"][1:]

    assert said(change) == ["bus: supply of output B1 is missing in B"]


def test_the_first_link_counts_the_others_order_does_not():
    def two(data):
        data["links"].append({"name": "second", "address": "tcp://192.0.2.1"})

    def swapped(data):
        two(data)
        data["links"].reverse()

    found = differences(demo(two), demo(swapped))
    assert [one.text for one in found] == [
        "links: the first one is 'building management' -> 'second'"
    ]


def test_headings_come_in_a_fixed_order():
    def change(data):
        data["points"].pop()
        data["channels"].pop()
        data["panel"]["tag"] = "GDP-2"
        data["timing"]["scan_s"] = 1.0

    found = differences(DEMO, demo(change))
    assert [one.group for one in found] == ["panel", "timing", "channels", "points"]


# ---- Every field of every record, whatever fields there will be ----


def models(annotation: Any) -> Iterator[type[BaseModel]]:
    """Every record that a field may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
        for info in annotation.model_fields.values():
            yield from models(info.annotation)
    for inner in get_args(annotation):
        yield from models(inner)


RECORDS = {model.__name__: model for model in models(Site)}


def leaves(value: Any, path: tuple = ()) -> Iterator[tuple]:
    """Paths to all values of plain data that are no groups themselves; ranges and lists of names
    count as one."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list | tuple) and not isinstance((*value, "")[0], str | float):
        for at, inner in enumerate(value):
            yield from leaves(inner, (*path, at))
    else:
        yield path


def others(value: Any) -> Iterator[Any]:
    """Values that might be put in place of another."""
    match value:
        case bool():
            yield not value
        case Enum():
            yield from (one.value for one in type(value) if one is not value)
        case int() | float():
            yield from (value + 1, value * 0.5, value - 1)
        case str():
            yield from (f"{value}x", "any.A2", "K3", "tcp://192.0.2.77:1502/9", "changed")
        case (float(), float()):
            yield (value[0], value[1] + 5)
        case tuple() | list():
            yield (*value, "changed")
        case None:
            yield from (0.125, 3, "changed", True)


def put(data: Any, path: tuple, value: Any) -> Any:
    if not path:
        return value
    if isinstance(data, dict):
        return data | {path[0]: put(data.get(path[0]), path[1:], value)}
    inner = list(data)
    inner[path[0]] = put(inner[path[0]], path[1:], value)
    return inner


def changed_at(path: tuple) -> Site | None:
    """The demo with another value at the path; None where no other one can be there."""
    value = DATA
    for part in path:
        value = value[part]
    for other in others(value):
        try:
            site = Site.model_validate(put(DATA, path, other))
        except ValidationError:
            continue
        if site != DEMO:
            return site
    return None


LEAVES = tuple(path for path in leaves(DATA) if path != ("gaswitness_site",))
TAGS = {("channels", "tag"), ("inputs", "tag"), ("outputs", "tag")}
NO_TAGS = [path for path in LEAVES if (path[0], path[-1]) not in TAGS]
"""A tag changed in one place alone names nothing anywhere else: no file that loads."""


def subject(path: tuple) -> str:
    """What a change there must name."""
    row = DATA[path[0]]
    if not isinstance(row, list | tuple):
        return path[0]
    here = row[path[1]]
    return here.get("tag") or here.get("name") or here["effect"]


@settings(max_examples=120, deadline=None)
@given(st.sampled_from(NO_TAGS))
def test_any_single_change_is_exactly_one_line_that_names_it(path):
    site = changed_at(path)
    if site is None:
        return
    found = differences(DEMO, site)
    assert len(found) == 1, [one.text for one in found]
    assert subject(path) in found[0].text
    assert "\n" not in found[0].text


def mirrored(one: Difference) -> tuple:
    return one.group, one.kind, repr(one.b), repr(one.a)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(NO_TAGS), min_size=1, max_size=4), st.integers(0, 100))
def test_differences_mirror_when_the_files_are_swapped(paths, cut):
    left = changed_at(paths[0]) or DEMO
    right = changed_at(paths[-1]) or DEMO
    right = Site.model_validate(right.model_dump(by_alias=True) | {"points": right.points[cut:]})
    ahead, back = differences(left, right), differences(right, left)
    assert sorted(mirrored(one) for one in ahead) == sorted(
        (one.group, one.kind, repr(one.a), repr(one.b)) for one in back
    )
    assert bool(ahead) == (left != right)


def filled(model: type[BaseModel], changed: str = "") -> BaseModel:
    """A record of the model, unchecked, each field with some value, one field with another."""
    values = {
        name: sample(info.annotation, other=name == changed)
        for name, info in model.model_fields.items()
    }
    return model.model_construct(**values)


def sample(annotation: Any, *, other: bool) -> Any:
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return sample(inner[0], other=other)
    if origin in (Union, types.UnionType):
        return sample(next(one for one in inner if one is not type(None)), other=other)
    if origin is Literal:
        return inner[-1] if other else inner[0]
    if origin is tuple:
        one = sample(inner[0], other=other)
        return (one, one) if Ellipsis not in inner else (one,)
    if origin is dict:
        key = sample(inner[0], other=False)
        return {key: sample(inner[1], other=other)}
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return filled(annotation, next(reversed(annotation.model_fields)) if other else "")
    if isinstance(annotation, type) and issubclass(annotation, Enum):
        return list(annotation)[1 if other else 0]
    samples = {bool: (False, True), str: ("AT-1.A1", "K2.active"), int: (3, 4), float: (3.0, 4.0)}
    assert annotation in samples, f"give this test a sample of {annotation}"
    return samples[annotation][1 if other else 0]


FIELDS = [
    (name, field)
    for name, model in RECORDS.items()
    for field, info in model.model_fields.items()
    if not (get_origin(info.annotation) is Literal and len(get_args(info.annotation)) == 1)
]


@pytest.mark.parametrize(("record", "field"), FIELDS)
def test_no_field_of_any_record_is_forgotten(record, field):
    model = RECORDS[record]
    before, after = filled(model), filled(model, field)
    a, b = holding(before), holding(after)
    found = differences(a, b)
    assert found
    assert all(one.text and "  " not in one.text for one in found)


def holding(record: BaseModel) -> Site:
    """A site that holds the record where such records stand, the rest being the demo's."""
    path = next(path_to(Site, type(record)))
    return placed(DEMO, path, record)


def path_to(model: type[BaseModel], wanted: type[BaseModel]) -> Iterator[tuple[str, ...]]:
    if model is wanted:
        yield ()
    for name, info in model.model_fields.items():
        for inner in dict.fromkeys(models(info.annotation)):
            for rest in path_to(inner, wanted):
                yield (name, *rest)


def placed(holder: BaseModel, path: tuple[str, ...], record: BaseModel) -> Any:
    if not path:
        return record
    name = path[0]
    annotation = type(holder).model_fields[name].annotation
    inner = next(models(annotation))
    value = placed(filled(inner) if len(path) > 1 else record, path[1:], record)
    kinds = {get_origin(one) for one in (annotation, *get_args(annotation))}
    if tuple in kinds:
        value = (value,)
    elif dict in kinds:
        value = {"A1": value}
    fields = {one: getattr(holder, one) for one in type(holder).model_fields}
    return type(holder).model_construct(**(fields | {name: value}))
