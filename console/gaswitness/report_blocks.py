"""A report as blocks: sections, paragraphs, tables, figures. Both the HTML and the PDF are drawn
from these, so that they say the same. No layout, and no knowledge of panels or runs.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from gaswitness.wording import shown


class Style(StrEnum):
    """How a span is set. `marked`: bytes that the text speaks of; also told by brackets."""

    PLAIN = "plain"
    STRONG = "strong"
    MONO = "mono"
    MARKED = "marked"


class Tone(StrEnum):
    """What a paragraph or cell is, so that it can be set off; its words say the same."""

    PLAIN = "plain"
    NOTE = "note"
    CAUTION = "caution"
    PROVEN = "proven"
    FAILED = "failed"
    INCONCLUSIVE = "inconclusive"
    NOT_RUN = "not_run"


@dataclass(frozen=True, slots=True)
class Span:
    """A run of characters in one style."""

    text: str
    style: Style = Style.PLAIN


Text = tuple[Span, ...]


def said(*parts: str | Span) -> Text:
    """A text of spans; control characters from outside are made visible."""
    spans = [Span(part) if isinstance(part, str) else part for part in parts]
    return tuple(Span(shown(span.text), span.style) for span in spans if span.text)


def mono(text: str) -> Span:
    """A span in a fixed pitch: tags, digests, bytes."""
    return Span(text, Style.MONO)


def strong(text: str) -> Span:
    """A span that stands out."""
    return Span(text, Style.STRONG)


def plain_text(text: Text) -> str:
    """The characters alone."""
    return "".join(span.text for span in text)


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph."""

    text: Text
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    items: tuple[Text, ...]
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are, such as `Panel`: `GDP-1`."""

    rows: tuple[tuple[str, Text], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. `share` of the width, against the other columns'."""

    title: str
    share: float = 1.0
    numbers: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: lines beneath each other."""

    lines: tuple[Text, ...]
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Group:
    """Rows of a table that belong together, under a head of their own where there is one."""

    rows: tuple[tuple[Cell, ...], ...]
    head: Text = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption; the first cell of every row names the row where `row_heads`.

    `turned`: the titles of all columns but the first stand upright, as in a matrix.
    """

    caption: str
    columns: tuple[Column, ...]
    groups: tuple[Group, ...]
    row_heads: bool = True
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing as SVG. `caption` names it; `words` tell it to those who cannot see it."""

    svg: str
    caption: str
    words: str


@dataclass(frozen=True, slots=True)
class SignatureBox:
    """A box to sign in: for whom, and what stands in it already."""

    party: str
    name: str = ""
    company: str = ""


@dataclass(frozen=True, slots=True)
class Signatures:
    """Boxes for signatures in ink."""

    boxes: tuple[SignatureBox, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A titled part. `id` is what links lead to. `wide`: on sheets in landscape."""

    id: str
    title: str
    blocks: "tuple[Block, ...]"
    wide: bool = False
    new_page: bool = False


Block = Paragraph | Items | Facts | Table | Figure | Signatures | Section


@dataclass(frozen=True, slots=True)
class Sheets:
    """The whole report. `number`, `revision`, `tag` stand on every page."""

    title: str
    number: str
    revision: str
    tag: str
    front: tuple[Block, ...]
    sections: tuple[Section, ...]


def cell(*parts: str | Span, tone: Tone = Tone.PLAIN) -> Cell:
    """A cell of one line."""
    return Cell((said(*parts),), tone)


def lines(*texts: str, tone: Tone = Tone.PLAIN) -> Cell:
    """A cell of several lines; empty ones are left out."""
    return Cell(tuple(said(text) for text in texts if text), tone)


def one_group(rows: Sequence[tuple[Cell, ...]]) -> tuple[Group, ...]:
    """The rows of a table without groups."""
    return (Group(tuple(rows)),)


def sections_of(blocks: tuple[Block, ...]) -> Iterator[Section]:
    """The sections right beneath, in order."""
    for block in blocks:
        if isinstance(block, Section):
            yield block
