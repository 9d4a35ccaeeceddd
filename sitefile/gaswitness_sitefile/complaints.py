"""What the validator finds, said in words of the trade with place and remedy. No rules live here.

A complaint never shows the validator's own words, nor names of types of the language.
"""

import types
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from typing import Annotated, Any, Final, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticUndefined

from gaswitness_sitefile.model import TAG_PATTERN
from gaswitness_sitefile.problems import Loc, Place, Problem, near_match, one_of

M = TypeVar("M", bound=BaseModel)
Locate = Callable[[Loc], Place]
_WORDS: Final = ("enum", "literal_error")
_LONGEST_SHOWN = 60
_BOUNDS = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


def checked(model: type[M], data: object, locate: Locate) -> tuple[M | None, list[Problem]]:
    """Validate `data`; either the record or None with every problem. Raises nothing."""
    try:
        return model.model_validate(data), []
    except ValidationError as error:
        return None, list(_problems(model, data, error.errors(include_url=False), locate))
    except RecursionError:
        return None, [Problem(locate(()), "the data nest too deep", "write them flat")]


def _problems(
    model: type[BaseModel], data: object, errors: list[ErrorDetails], locate: Locate
) -> Iterator[Problem]:
    paths = [_in_data(error["loc"], data) for error in errors]
    branches = [path for error, path in zip(errors, paths, strict=True) if path != error["loc"]]
    said: set[Loc] = set()
    order = sorted(range(len(errors)), key=lambda at: errors[at]["type"] not in ("enum", "literal"))
    for at in order:
        error, path = errors[at], paths[at]
        ends_in_key = error["type"] in ("missing", "extra_forbidden")
        full = (*path, error["loc"][-1]) if error["type"] == "missing" else path
        of_branch = path != error["loc"] and not ends_in_key
        deeper = any(b != path and b[: len(path)] == path for b in branches)
        if full in said or (of_branch and deeper):
            continue
        said.add(full)
        if error["type"] in _WORDS:
            # Of several enumerations any word would do.
            words = [one for one, p in zip(errors, paths, strict=True) if p == path]
            known = [str(one["ctx"]["expected"]) for one in words if one["type"] in _WORDS]
            error = {**error, "ctx": {"expected": ", ".join(dict.fromkeys(known))}}
        who = _who(path, data)
        what, remedy = _words(model, error, full)
        yield Problem(locate(full), f"{who}{what}", remedy)


def _in_data(loc: Loc, data: object) -> Loc:
    """The part of `loc` that the data have: union branches and key marks left out."""
    found: list[str | int] = []
    here = data
    for part in loc:
        if (isinstance(here, dict) and part in here) or (
            isinstance(here, list | tuple) and isinstance(part, int) and part < len(here)
        ):
            here = here[part]  # type: ignore[index]  # the line above has asked
            found.append(part)
    return tuple(found)


def _who(path: Loc, data: object) -> str:
    """`AT-101: ` where the innermost record above has a tag, a name, or an effect."""
    here, name = data, ""
    for part in (*path, None):
        if isinstance(here, dict):
            own = here.get("tag", here.get("name", here.get("effect")))
            name = own if isinstance(own, str) and own else name
        if part is not None and isinstance(here, dict | list | tuple):
            here = here[part]  # type: ignore[index]  # _in_data made the path
    return f"{name[:_LONGEST_SHOWN]}: " if name else ""


def _label(path: Loc) -> str:
    if not path:
        return "the entry"
    last = path[-1]
    if isinstance(last, str):
        return last
    above = path[-2] if len(path) > 1 else ""
    return f"{above} {last}" if above in ("codes", "bits") else f"item {last + 1} of {above}"


def shown(value: object) -> str:
    """A value as the file has it, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    text = f"'{value}'" if isinstance(value, str) else str(value)
    return text if len(text) <= _LONGEST_SHOWN else text[:_LONGEST_SHOWN] + "..."


def _words(model: type[BaseModel], error: ErrorDetails, path: Loc) -> tuple[str, str]:
    kind, label, found = error["type"], _label(path), error["input"]
    if error["loc"][-1:] == ("[key]",) and len(path) > 1:
        label = f"a key of {path[-2]}"
    context: Mapping[str, Any] = error.get("ctx", {})
    if kind == "missing":
        return f"{label} is missing", _write(model, error["loc"])
    if kind == "extra_forbidden":
        known = _fields(_annotation(model, error["loc"][:-1]))
        near = near_match(str(label), known)
        ask = f"did you mean {near}? " if near else "take it out; "
        return f"{label} is not a known key", f"{ask}known here are {', '.join(known)}"
    if kind == "invalid_key":
        remedy = "take it out; if it is half of a number with a decimal comma, write a point"
        return f"{error['loc'][-1]} is not a known key", remedy
    if kind == "value_error":
        return _own_words(str(context["error"]), label if path else "")
    if kind in _WORDS:
        return f"{label} cannot be {shown(found)}", one_of(str(found), _allowed(context))
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tags = [tag.strip(" '") for tag in str(context.get("expected_tags", "")).split(",")]
        return f"{label} is not of a known kind", one_of("", [tag for tag in tags if tag])
    if found is None:
        return f"{label} has no value", _write(model, error["loc"])
    if kind in ("list_type", "tuple_type"):
        return f"{label} must be a list, found {shown(found)}", _write(model, error["loc"])
    return _by_kind(kind, label, found, context)


def _write(model: type[BaseModel], loc: Loc) -> str:
    """A remedy: the key with an example of its value, the whole list for one of its items."""
    while loc and not isinstance(loc[-1], str):
        loc = loc[:-1]
    return f"write '{loc[-1] if loc else '...'}: {_hint(_annotation(model, loc))}'"


def _own_words(text: str, label: str) -> tuple[str, str]:
    """Split a rule's own message, `what: remedy`."""
    what, _, remedy = text.rpartition(": ") if ": " in text else (text, "", "correct it")
    prefix = f"{label}: " if label and label.split(maxsplit=1)[0] not in what else ""
    return prefix + what, remedy


def _by_kind(kind: str, label: str, found: object, ctx: Mapping[str, Any]) -> tuple[str, str]:
    saw = shown(found)
    if kind.startswith(("float", "int", "decimal", "finite")):
        return _number_words(kind, label, found)
    if kind.startswith("string_pattern"):
        if ctx.get("pattern") == TAG_PATTERN:
            return (
                f"{label} {saw} has a mark that a tag cannot have",
                "write a letter, then letters, digits, '-', '_' or '/': no blank, no dot",
            )
        return f"{label} {saw} has not the form it should", "correct it"
    if kind in ("string_type", "string_unicode"):
        quoted = f'put it in quotes: "{found}"' if isinstance(found, int | float) else "write text"
        return f"{label} must be text, found {saw}", quoted
    if kind.startswith("bool"):
        return f"{label} must be true or false, found {saw}", "write true or false"
    if kind in _BOUNDS:
        words, key = _BOUNDS[kind]
        limit = f"{words} {ctx[key]:g}"
        return f"{label} must be {limit}, found {saw}", f"write a number {limit}"
    return _size_words(kind, label, saw, ctx)


def _size_words(kind: str, label: str, saw: str, ctx: Mapping[str, Any]) -> tuple[str, str]:
    if kind in ("too_short", "string_too_short"):
        least = ctx.get("min_length", 1)
        return f"{label} has too few entries, found {saw}", f"write at least {least}"
    if kind in ("too_long", "string_too_long"):
        most = ctx.get("max_length", "fewer")
        return f"{label} is too long, found {saw}", f"write at most {most}"
    if kind in ("dict_type", "model_type", "model_attributes_type", "mapping_type"):
        return f"{label} must be a group of keys and values, found {saw}", "write 'key: value'"
    return f"{label} cannot be {saw}", "see the schema for what may stand here"


def _number_words(kind: str, label: str, found: object) -> tuple[str, str]:
    noun = "a whole number" if kind.startswith("int") else "a number"
    if kind == "finite_number":
        return f"{label} must be a finite number, found {shown(found)}", "write a number"
    if isinstance(found, str) and decimal_comma(found):
        return (
            f"{label} has a decimal comma, found {shown(found)}",
            f"write {found.strip().replace(',', '.')}, with a point",
        )
    return f"{label} must be {noun}, found {shown(found)}", f"write {noun}, without a unit"


def decimal_comma(text: str) -> bool:
    """Whether the text is a number written with a comma, such as 0,5."""
    whole, comma, rest = text.strip().lstrip("+-").partition(",")
    return bool(comma) and whole.isdigit() and rest.isdigit()


def _allowed(context: Mapping[str, Any]) -> list[str]:
    """The words of an enumeration, out of the validator's list `'a', 'b' or 'c'`."""
    text = str(context.get("expected", ""))
    if "'" not in text:
        return [text]
    return text.split("'")[1::2]


def _annotation(model: type[BaseModel], loc: Loc) -> Any:
    """What the model has at `loc`, as an annotation; None where it cannot be told."""
    here: Any = model
    for part in loc:
        here = _step(_bare(here), part)
    return _bare(here)


def _bare(annotation: Any) -> Any:
    while get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, types.UnionType):
        members = [one for one in get_args(annotation) if one is not type(None)]
        if len(members) == 1:
            return _bare(members[0])
    return annotation


def _step(here: Any, part: str | int) -> Any:
    origin, args = get_origin(here), get_args(here)
    if isinstance(here, type) and issubclass(here, BaseModel):
        field = here.model_fields.get(str(part))
        if field is not None:
            return field.annotation
        aliased = [f for f in here.model_fields.values() if f.alias == part]
        return aliased[0].annotation if aliased else here
    if origin in (Union, types.UnionType):
        return _member(args, str(part))
    if origin in (list, tuple, set, frozenset):
        return args[0] if args else None
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return args[1]
    return None


def _member(members: tuple[Any, ...], part: str) -> Any:
    """The member of a union that a path goes through, by its class or its tag."""
    for member in map(_bare, members):
        if isinstance(member, type) and issubclass(member, BaseModel):
            tags = [
                str(tag)
                for field in member.model_fields.values()
                if get_origin(field.annotation) is Literal
                for tag in get_args(field.annotation)
            ]
            if part == member.__name__ or part in tags:
                return member
    return None


def _fields(annotation: Any) -> list[str]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [field.alias or name for name, field in annotation.model_fields.items()]
    return []


def _hint(annotation: Any) -> str:
    """An example of what may stand there."""
    if isinstance(annotation, type):
        if issubclass(annotation, Enum):
            return " or ".join(str(member.value) for member in list(annotation)[:4])
        if issubclass(annotation, BaseModel):
            needed = [
                n for n, f in annotation.model_fields.items() if f.default is PydanticUndefined
            ]
            return "{" + ", ".join(f"{name}: ..." for name in needed[:4]) + "}"
        simple = {str: "TEXT", bool: "true or false", int: "A WHOLE NUMBER", float: "A NUMBER"}
        return simple.get(annotation, "...")
    if get_origin(annotation) is Literal:
        return " or ".join(str(value) for value in get_args(annotation))
    if get_origin(annotation) is tuple and Ellipsis not in get_args(annotation):
        return "[" + ", ".join(_hint(_bare(one)) for one in get_args(annotation)) + "]"
    return "[...]" if get_origin(annotation) in (list, tuple) else "..."
