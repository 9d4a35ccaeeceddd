"""A plan as the text of a script file: YAML for people, in a fixed order, that loads again."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from gaswitness_scenarios.plan_bench import Draft

WIDTH: Final = 100
_PLAIN: Final = re.compile(r"[A-Za-z][A-Za-z0-9_./ ()%><,-]*$")
_WORDS: Final = frozenset(("on", "off", "yes", "no", "true", "false", "null", "y", "n"))


def plan_text(
    title: str, text: str, preamble: Sequence[Mapping[str, Any]], tests: Iterable[Draft]
) -> str:
    """The script's text."""
    lines = ["gaswitness_script: 1", f"title: {scalar(title)}", "text: |"]
    lines += [f"  {line}".rstrip() for line in text.strip().splitlines()]
    lines.append("steps:")
    for step in preamble:
        lines += _step(step)
    for draft in tests:
        lines += ["", *_test(draft)]
    return "\n".join(lines) + "\n"


def _test(draft: Draft) -> Iterator[str]:
    yield "  - test:"
    yield f"      id: {scalar(draft.id)}"
    yield f"      title: {scalar(draft.title)}"
    if draft.claims:
        yield "      proves:"
        yield from (f"        - {scalar(claim)}" for claim in draft.claims)
    if draft.moves:
        yield from _wrapped("      moves: ", sorted(draft.moves), "        ")
    for step in draft.steps:
        yield from _step(step)


def _wrapped(head: str, items: Sequence[str], indent: str) -> Iterator[str]:
    line = f"{head}["
    for at, item in enumerate(items):
        end = "]" if at + 1 == len(items) else ","
        word = scalar(item) + end
        if len(line) + 1 + len(word) > WIDTH and line.strip() not in ("", "["):
            yield line.rstrip()
            line = indent
        line += word if line.endswith(("[", indent)) else f" {word}"
    yield line


def _step(step: Mapping[str, Any]) -> Iterator[str]:
    lead = "  - "
    for key, value in step.items():
        text = f"{lead}{key}: {flow(value)}"
        if len(text) > WIDTH and isinstance(value, Mapping):
            yield f"{lead}{key}:"
            yield from (_entry(f"      {name}: ", one) for name, one in value.items())
        elif len(text) > WIDTH and isinstance(value, list):
            yield from _wrapped(f"{lead}{key}: ", value, "      ")
        else:
            yield text
        lead = "    "


def _entry(head: str, value: Any) -> str:
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return "\n".join(_wrapped(head, value, "        "))
    return head + flow(value)


def flow(value: Any) -> str:
    """A value on one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(one) for one in value) + "]"
    return scalar(value)


def scalar(value: Any) -> str:
    """A word or number; quoted where YAML would read it as something else."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:.10g}"
    text = " ".join(str(value).split())
    if text in ("on", "off"):
        return text
    plain = _PLAIN.match(text) and text.lower() not in _WORDS and ", " not in text
    if plain and "," not in text and not text.endswith(" ") and not text.startswith("-"):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
