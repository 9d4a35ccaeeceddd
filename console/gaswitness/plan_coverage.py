"""What a plan covers, as a matrix in plain text: causes down, effects across, letters for kinds.

Pure. A small letter stands for a set of kinds; the legend beneath says which.
"""

import textwrap
from collections.abc import Iterable, Sequence
from typing import Final

from gaswitness_scenarios.plan_wanted import KINDS, Want
from gaswitness_sitefile.site import Site

NO_CELL: Final = "."
WIDEST_CAUSE: Final = 34
NARROWEST_CAUSE: Final = 22
_LETTERS: Final = "abcdefghijklmnopqrstuvwxyz"

_Kinds = tuple[tuple[str, bool], ...]


def coverage_picture(site: Site, wants: Iterable[Want], width: int = 80) -> str:
    """The matrix and its legend, no line wider than `width`; empty without a matrix."""
    kinds: dict[tuple[str, str], list[tuple[str, bool]]] = {}
    for want in wants:
        pair = (want.cell.cause, want.cell.effect)
        kinds.setdefault(pair, []).append((want.kind, want.shown))
    if not kinds:
        return ""
    codes: dict[_Kinds, str] = {}
    marks: dict[tuple[str, str], str] = {}
    for pair, found in kinds.items():
        key = tuple(found)
        marks[pair] = codes.setdefault(key, _code(len(codes)))
    causes = list(dict.fromkeys(cause for cause, _ in kinds))
    effects = [out.tag for out in site.outputs if any(effect == out.tag for _, effect in kinds)]
    sheets = _sheets(causes, effects, marks, width)
    return "\n\n".join([*sheets, _columns(site, effects, width), _legend(codes, width)])


def _code(number: int) -> str:
    first, last = divmod(number, len(_LETTERS))
    return (_LETTERS[first - 1] if first else "") + _LETTERS[last]


def _sheets(
    causes: Sequence[str], effects: Sequence[str], marks: dict[tuple[str, str], str], width: int
) -> list[str]:
    column = 1 + max(2, len(str(len(effects))), *(len(mark) for mark in marks.values()))
    longest = min(max(len(cause) for cause in causes), WIDEST_CAUSE)
    cause_width = min(longest, max(NARROWEST_CAUSE, width - 2 - column * len(effects)))
    at_once = max(1, (width - 2 - cause_width) // column)
    numbered = [(str(number), effect) for number, effect in enumerate(effects, 1)]
    sheets = []
    for at in range(0, len(numbered), at_once):
        part = numbered[at : at + at_once]
        lines = [" " * (cause_width + 2) + "".join(number.rjust(column) for number, _ in part)]
        for cause in causes:
            if not any((cause, effect) in marks for _, effect in part):
                continue
            row = [marks.get((cause, effect), NO_CELL).rjust(column) for _, effect in part]
            label, *more = textwrap.wrap(cause, cause_width, break_on_hyphens=False)
            lines.append(f"  {label:<{cause_width}}" + "".join(row))
            lines += [f"    {rest}" for rest in more]
        sheets.append("\n".join(line.rstrip() for line in lines))
    return sheets


def _columns(site: Site, effects: Sequence[str], width: int) -> str:
    lines: list[str] = []
    widest = len(str(len(effects)))
    for number, tag in enumerate(effects, 1):
        output = site.output_of[tag]
        text = f"{number:>{widest}}  {tag}  {output.name or output.kind}"
        indent = " " * (widest + 4)
        lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent=indent)
    return "\n".join(lines)


def _legend(codes: dict[_Kinds, str], width: int) -> str:
    lines = []
    for kinds, code in codes.items():
        shown = " ".join(kind for kind, is_shown in kinds if is_shown) or "nothing"
        missing = " ".join(kind for kind, is_shown in kinds if not is_shown)
        lines.append(f"  {code}  {shown}" + (f"   not {missing}" if missing else ""))
    used = {kind for kinds in codes for kind, _ in kinds}
    lines.append("")
    for kind, words in KINDS.items():
        if kind in used:
            text = f"{kind}  {words}"
            lines += textwrap.wrap(text, width, initial_indent="  ", subsequent_indent=" " * 5)
    return "\n".join(lines)
