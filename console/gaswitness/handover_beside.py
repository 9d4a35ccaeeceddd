"""What a panel keeps beside its four tables: files of records, queues, and the codes of its event
log. Rows and words only."""

from collections.abc import Iterator

from gaswitness_sitefile.event_log import CODE_OF, subject_codes
from gaswitness_sitefile.records import FileContent
from gaswitness_sitefile.site import Site


def beside_rows(site: Site) -> Iterator[tuple[str, ...]]:
    """A row a file or queue: what, number, functions, what it holds (V1.1b3 clauses 6.14, 6.15,
    6.18)."""
    for file in site.map.files:
        functions = "20 (0x14)" + (", 21 (0x15)" if file.writable else "")
        holds = f"{file.records} words of 16 bits"
        if file.content is FileContent.EVENTS:
            holds = (
                f"the event log in {file.records} words: count, number of entries held, then four "
                "words an entry, the newest first: code, subject, instant in 0.1 s, high word first"
            )
        yield f"file {file.name}".strip(), str(file.number), functions, holds
    for queue in site.map.queues:
        name = f"queue {queue.name}".strip()
        yield name, str(queue.pointer), "24 (0x18)", "first in, first out; 31 values at the most"


def shows_events(site: Site) -> bool:
    """Whether a client can see the event log."""
    subjects = (shows.partition(".")[0] for point in site.points for _, shows in point.facts())
    in_files = any(file.content is FileContent.EVENTS for file in site.map.files)
    return in_files or "events" in subjects


def event_rows(site: Site) -> Iterator[tuple[str, str, str]]:
    """A row a code: of what, the number, what it means."""
    yield from (("event", str(code), said) for said, code in CODE_OF.items())
    codes = subject_codes(
        [channel.tag for channel in site.channels],
        [found.tag for found in site.inputs],
        [output.tag for output in site.outputs],
    )
    yield from (("subject", str(code), tag) for tag, code in codes.items())
