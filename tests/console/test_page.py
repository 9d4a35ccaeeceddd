"""HTML blocks: what is foreign is escaped, tables are headed, a page asks for nothing outside."""

import re

import html5lib
import pytest

from gaswitness.page import (
    Column,
    Markup,
    bullets,
    contents,
    definitions,
    document,
    element,
    markup,
    paragraph,
    section,
    table,
)

NASTY = '</td><script>alert("1")</script>&amp;\x1b[31m\u202e'


def parsed(page):
    """The page by another library's strict parser (HTML Living Standard, chapter 13)."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


@pytest.fixture
def page():
    body = section(
        NASTY,
        paragraph(NASTY),
        table(NASTY, [NASTY, Column("value", "number")], [(NASTY, NASTY)], id_="t"),
        definitions([(NASTY, NASTY)]),
        bullets([NASTY]),
        id_="one",
    )
    return document(NASTY, contents([("one", NASTY)]), body, foot=NASTY, landscape=True)


def test_foreign_text_stays_text(page):
    tree = parsed(page)
    assert not list(tree.iter("script"))
    visible = '</td><script>alert("1")</script>&amp;\\x1b[31m\\u202e'
    cells = [cell.text for cell in tree.iter("td")]
    assert cells == [visible, visible]
    assert tree.find(".//title").text == visible


def test_foreign_text_does_not_leave_the_style_sheet():
    page = document("t", foot='";} </style><script>x</script> @import url(http://x)')
    tree = parsed(page)
    assert not list(tree.iter("script"))
    style = tree.find(".//style").text
    said = re.search(r'@bottom-left \{ content: "(.*)"; font', style)[1]
    assert not set(said) & set('"<>{}@')
    assert "@import" not in style


def test_a_table_has_a_caption_and_its_heads_have_scopes(page):
    tree = parsed(page)
    found = tree.find(".//div[@class='wide']/table")
    assert found.find("caption") is not None
    assert [head.get("scope") for head in found.iter("th")] == ["col", "col", "row"]
    region = tree.find(".//div[@role='region']")
    assert region.get("tabindex") == "0"
    assert tree.find(f".//*[@id='{region.get('aria-labelledby')}']") is not None


def test_a_page_asks_for_nothing_outside(page):
    assert not re.search(r"""(src|href)=["'](?!#)""", page)
    assert "url(" not in page
    policy = parsed(page).find(".//meta[@http-equiv='Content-Security-Policy']")
    assert policy.get("content").startswith("default-src 'none'")


def test_every_link_of_the_contents_leads_somewhere(page):
    tree = parsed(page)
    ids = {one.get("id") for one in tree.iter() if one.get("id")}
    assert {link.get("href")[1:] for link in tree.iter("a")} <= ids


def test_markup_is_not_escaped_twice():
    assert markup(markup("a < b")) == "a &lt; b"
    assert element("p", Markup("<b>x</b>"), " & y") == "<p><b>x</b> &amp; y</p>"


def test_attributes_are_escaped_and_named_as_written():
    assert element("td", "x", class_="a", aria_label='"<', colspan=2, id=None, hidden="") == (
        '<td class="a" aria-label="&quot;&lt;" colspan="2" hidden>x</td>'
    )
    assert element("br") == "<br>"


def test_a_row_of_another_length_is_refused():
    with pytest.raises(ValueError, match="zip"):
        table("c", ["a", "b"], [("1",)], id_="t")
