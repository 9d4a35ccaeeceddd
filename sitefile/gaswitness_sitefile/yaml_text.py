"""YAML 1.2 text to plain data, with the place of every key and item. Knows no site file.

Only the syntax comes from the library. Words are read by the core schema of YAML 1.2.2 (10.3), so
that the gas `NO` stays text and `010` is ten, whatever a file's %YAML line says.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from ruamel.yaml.reader import ReaderError

from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Loc, Place, Problem

_INTEGER: Final = re.compile(r"[-+]?[0-9]{1,40}$")
_OCTAL: Final = re.compile(r"0o[0-7]{1,40}$")
_HEX: Final = re.compile(r"0x[0-9a-fA-F]{1,40}$")
_FLOAT: Final = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$")
_NAMED: Final[Mapping[str, Any]] = {
    **dict.fromkeys(("", "~", "null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys((".inf", ".Inf", ".INF", "+.inf", "+.Inf", "+.INF"), float("inf")),
    **dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf")),
    **dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan")),
}
_MOST_VALUES: Final = 300_000
_DEEPEST: Final = 40
_LARGEST_KEY: Final = 10**9
_PLAIN_TAGS: Final = "tag:yaml.org,2002:"
_KNOWN_TAGS: Final = frozenset(
    ("str", "int", "float", "bool", "null", "seq", "map", "timestamp", "merge", "value")
)

_LIBRARY_RAISES: Final = (
    YAMLError,
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    RuntimeError,
    AssertionError,
    OverflowError,
)
"""The parser lets these escape on broken text beside its own errors."""

_SYNTAX: Final = (
    (
        r"found character '\\t'|\btab\b",
        "a tab indents or separates here",
        "indent with blanks: YAML does not take tabs",
    ),
    (
        "mapping values are not allowed",
        "a second ': ' stands in this line, or the line is indented too far",
        "put the text in quotes, or line the key up with its neighbours",
    ),
    (
        "expected a single document",
        "a second document begins",
        "keep one, and take out the line '---' between them",
    ),
    ("undefined alias", "an alias names an anchor that is not there", "write the anchor first"),
    (
        "unexpected end of stream|document separator",
        "a quote or bracket is not closed",
        "close what is opened in this line or above it",
    ),
    ("expected ',' or", "a list or group in brackets is not closed", "close the bracket"),
    (
        "could not find expected ':'",
        "a key has no ':'",
        "write 'key: value', with a blank after the colon",
    ),
    (
        "expected <block end>",
        "the indentation does not fit the lines above",
        "line keys and dashes up with their neighbours",
    ),
    (
        "cannot start any token",
        "a word begins with a mark that YAML keeps for itself",
        "put the word in quotes",
    ),
    (
        "special characters are not allowed",
        "a control character stands here",
        "save the file as plain text in UTF-8",
    ),
)


@dataclass(frozen=True, slots=True)
class Parsed:
    """`marks`: (line, column) of each key or item, from 1. `written`: numbers not written plainly.

    `written` keeps the text of numbers such as `0x006B` and `00001`, where zeros may matter.
    """

    data: Any
    marks: Mapping[Loc, tuple[int, int]]
    written: Mapping[Loc, str]


def parse_yaml(text: str, file: str) -> Parsed:
    """Read one document.

    Raises SiteFileError with the first error of syntax, or all repeated keys, tags and loops.
    """
    try:
        root = YAML(typ="safe", pure=True).compose(text)
    except _LIBRARY_RAISES as error:
        raise SiteFileError([_syntax_problem(error, text, file)]) from error
    if root is None:
        return Parsed(None, {}, {})
    builder = _Builder(file)
    data = builder.value(root, ())
    if builder.problems:
        raise SiteFileError(builder.problems)
    return Parsed(data, builder.marks, builder.written)


def _syntax_problem(error: Exception, text: str, file: str) -> Problem:
    line, column, said = 1, 1, str(error)
    if isinstance(error, ReaderError):
        before = text[: error.position]
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
    elif isinstance(error, MarkedYAMLError):
        mark = error.problem_mark or error.context_mark
        if mark is not None:
            line, column = mark.line + 1, mark.column + 1
        said = " ".join(str(part) for part in (error.context, error.problem) if part)
    elif isinstance(error, RecursionError):
        said = "brackets nest too deep"
    for pattern, what, remedy in _SYNTAX:
        if re.search(pattern, said):
            return Problem(Place(file, line, column), what, remedy)
    first = said.splitlines()[0] if said else type(error).__name__
    return Problem(
        Place(file, line, column),
        f"this is not YAML ({first})",
        "check quotes, colons and indentation in this line and the one above",
    )


@dataclass(slots=True)
class _Builder:
    file: str
    marks: dict[Loc, tuple[int, int]] = field(default_factory=dict)
    written: dict[Loc, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    open_nodes: list[int] = field(default_factory=list)
    built: int = 0

    def refuse(self, node: Node, what: str, remedy: str) -> None:
        mark = node.start_mark
        place = Place(self.file, mark.line + 1, mark.column + 1)
        self.problems.append(Problem(place, what, remedy))

    def mark(self, loc: Loc, node: Node) -> None:
        self.marks[loc] = (node.start_mark.line + 1, node.start_mark.column + 1)

    def value(self, node: Node, loc: Loc) -> Any:
        self.built += 1
        if self.built > _MOST_VALUES or len(loc) > _DEEPEST or id(node) in self.open_nodes:
            if not self.problems:
                self.refuse(
                    node,
                    "aliases or brackets unfold without end or too far",
                    "write the values out instead of *aliases",
                )
            return None
        tag = str(node.tag)
        if not (tag.startswith(_PLAIN_TAGS) and tag[len(_PLAIN_TAGS) :] in _KNOWN_TAGS):
            written = tag.replace(_PLAIN_TAGS, "!!")
            self.refuse(node, f"the YAML tag {written} is not used here", "take it out")
            return None
        if isinstance(node, ScalarNode):
            return self.scalar(node, loc)
        self.open_nodes.append(id(node))
        found: Any = None
        if isinstance(node, SequenceNode):
            found = [self.item(child, (*loc, at)) for at, child in enumerate(node.value)]
        elif isinstance(node, MappingNode):
            found = self.mapping(node, loc)
        self.open_nodes.pop()
        return found

    def item(self, node: Node, loc: Loc) -> Any:
        self.mark(loc, node)
        return self.value(node, loc)

    def scalar(self, node: ScalarNode, loc: Loc) -> Any:
        text: str = node.value
        if not text.isascii() and any("\ud800" <= sign <= "\udfff" for sign in text):
            self.refuse(node, "half a character stands here", "write the character itself")
            return None
        if node.style not in (None, ""):
            return text
        if _INTEGER.match(text):
            if str(int(text)) != text:
                self.written[loc] = text
            return int(text)
        if text in _NAMED:
            return _NAMED[text]
        if _HEX.match(text) or _OCTAL.match(text):
            self.written[loc] = text
            return int(text, 0)
        return float(text) if _FLOAT.match(text) and not text.lstrip("+-").isdigit() else text

    def mapping(self, node: MappingNode, loc: Loc) -> dict[str | int, Any]:
        found: dict[str | int, Any] = {}
        merged: list[Node] = []
        for key_node, value_node in node.value:
            if key_node.value == "<<" and key_node.style in (None, ""):
                merged.append(value_node)
                continue
            key = self.key(key_node, loc)
            if key is None:
                continue
            here = (*loc, key)
            if key in found:
                first = self.marks[here][0]
                self.refuse(
                    key_node,
                    f"{key} stands twice, first in line {first}",
                    "keep one of the two",
                )
                continue
            self.mark(here, key_node)
            found[key] = self.value(value_node, here)
        for source in merged:
            self.merge(source, loc, found)
        return found

    def merge(self, source: Node, loc: Loc, into: dict[str | int, Any]) -> None:
        sources = source.value if isinstance(source, SequenceNode) else [source]
        for one in sources:
            if not isinstance(one, MappingNode):
                self.refuse(one, "<< takes only an alias of keys and values", "write << : *anchor")
                continue
            if id(one) in self.open_nodes:
                self.refuse(one, "a group of keys merges itself", "take the << out")
                continue
            self.open_nodes.append(id(one))
            inner = _Builder(self.file, open_nodes=self.open_nodes, built=self.built)
            data = inner.mapping(one, loc)
            self.open_nodes.pop()
            self.built = inner.built
            self.problems += inner.problems
            for key in data.keys() - into.keys():
                here = (*loc, key)
                self.marks |= {at: m for at, m in inner.marks.items() if at[: len(here)] == here}
                self.written |= {at: w for at, w in inner.written.items() if at == here}
            for key, value in data.items():
                into.setdefault(key, value)

    def key(self, node: Node, loc: Loc) -> str | int | None:
        if not isinstance(node, ScalarNode):
            self.refuse(node, "a list or group stands where a key should", "write a word as key")
            return None
        found = self.value(node, (*loc, node.value))
        self.written.pop((*loc, node.value), None)
        if isinstance(found, int) and not isinstance(found, bool) and abs(found) < _LARGEST_KEY:
            return found
        return found if isinstance(found, str) else str(node.value)
