"""Titles, paragraphs and plain tables of what the commands print, so that all look alike."""

from collections.abc import Iterable, Iterator

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text


def titled(title: str, body: RenderableType) -> Iterator[RenderableType]:
    """A title, and its body a little to the right."""
    yield Text(f"\n{title}", style="bold")
    yield Padding(body, (0, 0, 0, 2))


def paragraphs(lines: Iterable[str]) -> RenderableType:
    """One paragraph a line; each folds within its own width."""
    table = Table.grid()
    table.add_column(overflow="fold")
    for line in lines:
        table.add_row(Text(line))
    return table


def plain_table(*headings: str, left: int = 1) -> Table:
    """A table without lines: the first `left` columns to the left, numbers to the right."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for at, heading in enumerate(headings):
        table.add_column(heading, justify="left" if at < left else "right", overflow="fold")
    return table
