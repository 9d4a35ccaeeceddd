"""One part of a site file's text put in the place of another; all else, remarks too, stays."""

from gaswitness_sitefile.document import Document
from gaswitness_sitefile.errors import SiteFileError
from gaswitness_sitefile.problems import Problem


def with_table_file(document: Document, text: str, name: str, file: str) -> str:
    """The document's text, or a later state of it, with the section `name` read from `file`.

    Only the lines of that section change. Raises SiteFileError where the root's keys do not stand
    one a line, so that they cannot be told apart.
    """
    lines = text.splitlines(keepends=True)
    said = f'{name}: {{file: "{file}"}}\n' if _needs_quotes(file) else f"{name}: {{file: {file}}}\n"
    first = _line_of(document, lines, name)
    if first is None:
        end = "" if not lines or lines[-1].endswith("\n") else "\n"
        return f"{text}{end}{said}"
    last = _end_of(document, lines, name, first)
    return "".join([*lines[:first], said, *lines[last:]])


def _needs_quotes(file: str) -> bool:
    return not all(sign.isalnum() or sign in "._-/" for sign in file)


def _line_of(document: Document, lines: list[str], name: str) -> int | None:
    """The index of the line that begins with the root's key."""
    if (name,) not in document.parsed.marks:
        return None
    for at, line in enumerate(lines):
        if _key(line) == name:
            return at
    place = document.place((name,))
    what = f"{name} does not begin a line of its own"
    raise SiteFileError([Problem(place, what, f"write it as a line '{name}: ...', not indented")])


def _end_of(document: Document, lines: list[str], name: str, first: int) -> int:
    """The index after the section's last line; remarks before the next key are not part of it."""
    keys = {str(loc[0]) for loc in document.parsed.marks if len(loc) == 1} - {name}
    end = next(
        (at for at in range(first + 1, len(lines)) if _key(lines[at]) in keys or _ends(lines[at])),
        len(lines),
    )
    while end > first + 1 and (not lines[end - 1].strip() or lines[end - 1].startswith("#")):
        end -= 1
    return end


def _ends(line: str) -> bool:
    return line.startswith(("---", "..."))


def _key(line: str) -> str | None:
    """The key that begins the line at its very start, quotes taken off."""
    if not line or line[0] in " \t#-":
        return None
    key, colon, _ = line.partition(":")
    return key.strip().strip("'\"") if colon else None
