"""Blocks of HTML pages that stand alone: escaped text, tables with captions, the whole document.

A page asks for nothing from anywhere (its own policy forbids it), is readable by a screen reader,
and prints: heads of tables are repeated, rows are not torn. No content is decided here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

from gaswitness.wording import shown


class Markup(str):
    """Text that is HTML already; any other text is escaped where it is put into a page."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its heading, and a class for its cells, such as `number` or `code`."""

    heading: str
    style: str = ""


VOID: Final = frozenset({"br", "col", "hr", "img", "input", "link", "meta"})
"""Elements without content or end tag (HTML Living Standard, 13.1.2)."""


def markup(said: str) -> Markup:
    """Text made fit for a page: escaped, with control characters made visible."""
    return said if isinstance(said, Markup) else Markup(escape(shown(said), quote=True))


def joined(parts: Iterable[str], between: str = "") -> Markup:
    """The parts one after the other."""
    return Markup(markup(between).join(markup(part) for part in parts))


def element(name: str, /, *content: str, **attributes: str | int | None) -> Markup:
    """One element. A trailing `_` of an attribute's name is dropped, other `_` stand for `-`; an
    attribute that is None is left out, one that is "" is written without a value."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}"
        + (f'="{markup(str(value))}"' if value != "" else "")
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Markup(f"<{name}{written}>")
    return Markup(f"<{name}{written}>{joined(content)}</{name}>")


def paragraph(*content: str) -> Markup:
    """A paragraph."""
    return element("p", *content)


def bullets(items: Iterable[str], *, numbered: bool = False) -> Markup:
    """A list; empty where there are no items."""
    inner = [element("li", item) for item in items]
    return element("ol" if numbered else "ul", *inner) if inner else Markup("")


def definitions(pairs: Iterable[tuple[str, str]]) -> Markup:
    """A table of two columns without a head: what, and what it is."""
    rows = [
        element("tr", element("th", name, scope="row"), element("td", said)) for name, said in pairs
    ]
    return element("table", element("tbody", *rows), class_="facts")


def section(title: str, *content: str, id_: str, level: int = 2) -> Markup:
    """A part of the page with its heading, which `#id_` leads to."""
    heading = element(f"h{level}", title, id=f"{id_}-title")
    return element("section", heading, *content, id=id_, aria_labelledby=f"{id_}-title")


def contents(parts: Iterable[tuple[str, str]]) -> Markup:
    """The way to the page's sections: (id, title)."""
    links = [element("li", element("a", title, href=f"#{id_}")) for id_, title in parts]
    return element("nav", element("ul", *links), aria_label="Contents")


def table(
    caption: str,
    columns: Sequence[Column | str],
    rows: Iterable[Sequence[str]],
    *,
    id_: str,
    headings: int = 1,
    style: str = "",
) -> Markup:
    """A table with a caption and headed columns; the first `headings` cells of a row head it.

    It stands in a region of its own that can be scrolled, by keys too.
    """
    heads = [one if isinstance(one, Column) else Column(one) for one in columns]
    head = element(
        "tr",
        *(element("th", one.heading, scope="col", class_=one.style or None) for one in heads),
    )
    body = [
        element(
            "tr",
            *(
                element("th", cell, scope="row", class_=column.style or None)
                if at < headings
                else element("td", cell, class_=column.style or None)
                for at, (column, cell) in enumerate(zip(heads, row, strict=True))
            ),
        )
        for row in rows
    ]
    whole = element(
        "table",
        element("caption", caption, id=f"{id_}-caption"),
        element("thead", head),
        element("tbody", *body),
        class_=style or None,
    )
    return scrolled(whole, f"{id_}-caption")


def scrolled(content: str, labelled_by: str) -> Markup:
    """Something wide, in a region that can be scrolled sideways with the keyboard, too."""
    return element(
        "div", content, class_="wide", role="region", aria_labelledby=labelled_by, tabindex=0
    )


def document(title: str, *body: str, foot: str = "", landscape: bool = False, css: str = "") -> str:
    """The whole page. `foot` stands below, and on each printed page beside its number."""
    sheet = _SHEET.format(side=" landscape" if landscape else "", foot=_css_text(foot))
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("title", title),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        element("style", Markup(_CSS + sheet + css)),
    )
    main = element("main", *body, id="main")
    below = element("footer", paragraph(foot)) if foot else ""
    skip = element("a", "To the content", href="#main", class_="skip")
    return (
        f"<!DOCTYPE html>\n{element('html', head, element('body', skip, main, below), lang='en')}\n"
    )


def _css_text(said: str) -> str:
    """Text between quotes of a style sheet, which must not end the element either."""
    plain = "".join(sign if sign.isalnum() or sign in " .,:;-_()/" else " " for sign in said)
    return plain.replace("/", "\\2F ")


_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"

_CSS: Final = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { font: 15px/1.45 system-ui, "Segoe UI", "DejaVu Sans", Arial, sans-serif; color: #1b1b1b;
  background: #fff; margin: 0 auto; padding: 1.2rem 1.6rem 3rem; max-width: 110rem; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: .4rem 0 .6rem; }
h2 { font-size: 1.25rem; margin: 2rem 0 .6rem; padding-bottom: .2rem;
  border-bottom: 2px solid #555; }
h3 { font-size: 1.05rem; margin: 1.3rem 0 .4rem; }
p, ul, ol { max-width: 62rem; margin: .5rem 0; }
a { color: #0a4a8a; }
:focus-visible { outline: 3px solid #0a4a8a; outline-offset: 2px; }
.skip { position: absolute; left: -99rem; }
.skip:focus { left: 1rem; background: #fff; padding: .3rem .6rem; }
nav ul { list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; }
.wide { overflow-x: auto; margin: .8rem 0; }
table { border-collapse: collapse; font-size: .86rem; }
caption { text-align: left; font-weight: 600; padding: .3rem 0; }
th, td { border: 1px solid #9a9a9a; padding: .22rem .45rem; text-align: left;
  vertical-align: top; }
thead th { background: #e6e9ee; }
tbody th { font-weight: 600; }
.facts td { overflow-wrap: anywhere; }
.facts th { background: #f1f3f6; white-space: nowrap; }
.number { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.code, code { font-family: ui-monospace, "DejaVu Sans Mono", Consolas, monospace;
  font-size: .92em; }
.code { white-space: nowrap; }
thead .code { font-family: inherit; font-size: inherit; }
.caution { border: 2px solid #8a4b00; background: #fff6e8; padding: .5rem .8rem; margin: 1rem 0;
  max-width: 62rem; }
footer { margin-top: 3rem; border-top: 1px solid #9a9a9a; font-size: .82rem; color: #444; }
"""

_SHEET: Final = """
@page {{ size: A4{side}; margin: 14mm 12mm 16mm;
  @bottom-left {{ content: "{foot}"; font: 8pt sans-serif; color: #444; }}
  @bottom-right {{ content: "page " counter(page) " of " counter(pages);
    font: 8pt sans-serif; color: #444; }} }}
@media print {{
  body {{ font-size: 9pt; padding: 0; max-width: none; }}
  nav, .skip, footer {{ display: none; }}
  .wide {{ overflow: visible; padding-right: 1px; }}
  thead {{ display: table-header-group; }}
  tr, .caution {{ break-inside: avoid; }}
  h1, h2, h3, caption {{ break-after: avoid; }}
  thead th, .facts th, .caution {{ print-color-adjust: exact; -webkit-print-color-adjust: exact; }}
  .new-page {{ break-before: page; }}
  a {{ color: inherit; text-decoration: none; }}
}}
"""
