"""The report as PDF/A-3b, set by typst from the same blocks as the HTML, with the evidence
attached.

Needs the extra `pdf`. Only fonts that typst carries are used, so that every system sets the same;
where a text has letters that they lack, the system's fonts help out.
"""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory
from typing import Any, Final

from gaswitness.report_blocks import (
    Block,
    Cell,
    Facts,
    Figure,
    Items,
    Paragraph,
    Section,
    Sheets,
    Signatures,
    Style,
    Table,
    Tone,
)
from gaswitness_sitefile.errors import GaswitnessError

STANDARD: Final = "a-3b"
DRAWN_IN: Final = "Helvetica, Arial, sans-serif"
SET_IN: Final = "Libertinus Serif"
"""The drawings' fonts on screen, and the one that typst carries for them."""
HELPING_FONTS: Final = ("DejaVu Sans", "Noto Sans", "Noto Sans CJK SC", "Arial Unicode MS")
VIEW_BOX: Final = re.compile(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"')
UNSHOWN: Final = "could not be displayed"


class PdfError(GaswitnessError):
    """The PDF cannot be made."""


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that goes into the PDF. `relationship`: what it is to the report (PDF/A-3)."""

    content: Path | bytes
    name: str
    media_type: str
    description: str
    relationship: str = "source"


@dataclass(frozen=True, slots=True)
class Imprint:
    """What the PDF says of its making.

    `stamp`: seconds since 1970 in UTC for the file's date, which PDF/A asks for: those of the run,
    so that the same evidence makes the same bytes; 0 for a run in virtual time, which has no date.
    """

    software: str
    foot: str
    stamp: int = 0


def report_pdf(sheets: Sheets, imprint: Imprint, attached: Sequence[Attached]) -> bytes:
    """The PDF's bytes; equal input gives equal bytes.

    Raises PdfError where the extra is not installed, or typst cannot set the report.
    """
    with TemporaryDirectory() as name:
        folder = Path(name)
        drawings: list[str] = []
        body = {
            "title": sheets.title,
            "number": sheets.number,
            "revision": sheets.revision,
            "tag": sheets.tag,
            "software": imprint.software,
            "foot": imprint.foot,
            "fonts": [],
            "front": [_plain(block, drawings) for block in sheets.front],
            "sections": [_plain(section, drawings) for section in sheets.sections],
            "attachments": list(_attachments(attached, folder)),
        }
        for number, svg in enumerate(drawings):
            text = svg.replace(DRAWN_IN, SET_IN)
            (folder / _drawing(number)).write_text(text, encoding="utf-8")
        template = files("gaswitness").joinpath("report.typ").read_text("utf-8")
        (folder / "report.typ").write_text(template, encoding="utf-8")
        return _set(folder, body, imprint.stamp)


def _set(folder: Path, body: dict[str, Any], stamp: int) -> bytes:
    try:
        import typst
    except ImportError:
        raise PdfError(
            "a PDF needs typst, which is not installed: pip install 'gaswitness[pdf]'"
        ) from None

    def once(fonts: Sequence[str]) -> bytes:
        text = json.dumps(body | {"fonts": list(fonts)}, ensure_ascii=False)
        sayable = text.encode("utf-8", "backslashreplace")
        (folder / "report.json").write_bytes(sayable)
        made: bytes = typst.compile(
            folder / "report.typ",
            root=folder,
            pdf_standards=[STANDARD],
            ignore_system_fonts=not fonts,
            timestamp=stamp,
        )
        return made

    try:
        try:
            return once(())
        except typst.TypstError as error:
            if UNSHOWN not in str(error):
                raise
            return once(HELPING_FONTS)
    except typst.TypstError as error:
        raise PdfError(f"the PDF cannot be set: {error}") from error


def _attachments(attached: Sequence[Attached], folder: Path) -> Iterator[dict[str, str]]:
    for one in attached:
        if isinstance(one.content, Path):
            copyfile(one.content, folder / one.name)
        else:
            (folder / one.name).write_bytes(one.content)
        yield {
            "path": one.name,
            "relationship": one.relationship,
            "media_type": one.media_type,
            "description": one.description,
        }


def _height_to_width(svg: str) -> float:
    box = VIEW_BOX.search(svg)
    return float(box[2]) / float(box[1]) if box else 1.0


def _drawing(number: int) -> str:
    return f"drawing-{number}.svg"


def _plain(block: Block, drawings: list[str]) -> dict[str, Any]:
    """The block as plain data; drawings are put aside, to be files of their own."""
    match block:
        case Section():
            return {
                "block": "section",
                "id": block.id,
                "title": block.title,
                "wide": block.wide,
                "new_page": block.new_page,
                "blocks": [_plain(inner, drawings) for inner in block.blocks],
            }
        case Figure():
            drawings.append(block.svg)
            return {
                "block": "figure",
                "caption": block.caption,
                "words": block.words,
                "file": _drawing(len(drawings) - 1),
                "high": _height_to_width(block.svg),
            }
        case Facts():
            rows = [
                {"name": name, "text": [asdict(span) for span in text]} for name, text in block.rows
            ]
            return {"block": "facts", "rows": rows}
        case Table():
            return {"block": "table", **_table(block)}
        case Paragraph() | Items() | Signatures():
            return {"block": type(block).__name__.lower(), **asdict(block)}


def _table(table: Table) -> dict[str, Any]:
    return {
        "caption": table.caption,
        "columns": [asdict(column) for column in table.columns],
        "groups": [
            {
                "head": [asdict(span) for span in group.head],
                "rows": [[_cell(cell) for cell in row] for row in group.rows],
            }
            for group in table.groups
        ],
        "row_heads": table.row_heads,
        "turned": table.turned,
    }


def _cell(cell: Cell) -> Any:
    """A plain text alone, or with its tone, where that is all: nearly every cell is so, and it is
    set sooner."""
    spans = [span for line in cell.lines for span in line]
    if len(cell.lines) > 1 or len(spans) > 1:
        return asdict(cell)
    text = spans[0].text if spans else ""
    if (spans and spans[0].style is not Style.PLAIN) or "\n" in text:
        return asdict(cell)
    return text if cell.tone is Tone.PLAIN else [text, cell.tone]
