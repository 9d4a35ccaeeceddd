"""Shapes and texts as SVG 1.1 elements, well-formed and without outside addresses. No layout.

Numbers are rounded to hundredths of a unit, those of lines to tenths; texts are
escaped, control characters made visible.
"""

from collections.abc import Iterable, Sequence
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from gaswitness.wording import shown

CHARACTER: Final = 0.6
"""Width of a character in font sizes, on the safe side for common sans-serif faces."""


def number(value: float) -> str:
    """A coordinate, short."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if value else "0"


def element(name: str, content: str = "", /, **attributes: str | float) -> str:
    """One element; `content` is SVG already. `_` in an attribute's name stands for `-`."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}="
        + quoteattr(number(value) if isinstance(value, int | float) else value)
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def text(x: float, y: float, said: str, size: float = 12, **attributes: str | float) -> str:
    """A text whose base line is at `y`."""
    return element("text", plain(said), x=x, y=y, font_size=size, **attributes)


def titled(shape: str, said: str) -> str:
    """The shape with a text that a pointer or a reader finds."""
    return element("g", element("title", plain(said)) + shape)


def plain(said: str) -> str:
    """Text as content of an element."""
    return escape(shown(said))


def line(start: Sequence[float], end: Sequence[float], **attributes: str | float) -> str:
    """From one (x, y) to another."""
    return element("line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], **attributes)


def rect(x: float, y: float, width: float, height: float, **attributes: str | float) -> str:
    """A rectangle from its upper left corner."""
    return element("rect", x=x, y=y, width=width, height=height, **attributes)


def path(points: Iterable[Sequence[float]], **attributes: str | float) -> str:
    """An open line through the points."""
    d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return element("path", d=d, fill="none", **attributes)


def hatch(name: str, lines: str, size: float, ground: str) -> str:
    """A pattern to fill with, `lines` being a path within `size` by `size`."""
    inner = rect(0, 0, size, size, fill=ground)
    inner += element("path", d=lines, fill="none", stroke="#777777", stroke_width=0.7)
    return element(
        "pattern", inner, id=name, width=size, height=size, patternUnits="userSpaceOnUse"
    )


def width_of(said: str, size: float = 12) -> float:
    """About how wide the text will be."""
    return len(said) * size * CHARACTER


def fitted(said: str, width: float, size: float = 12) -> str:
    """The text, cut with an ellipsis where it would be wider than `width`."""
    most = int(width / (size * CHARACTER))
    return said if len(said) <= most else said[: max(most - 1, 1)].rstrip() + "\u2026"
