"""Checks that points and files of the event log have a log to show, and one that is long enough."""

from collections.abc import Iterator

from gaswitness_sitefile.document import Document
from gaswitness_sitefile.draft import Draft
from gaswitness_sitefile.event_log import FILE_ENTRY, FILE_HEAD, EventLog, event_number
from gaswitness_sitefile.points import MapRules
from gaswitness_sitefile.problems import Problem
from gaswitness_sitefile.records import FileContent

_NO_LOG = "the site has no event log"
_WRITE_ONE = "write event_log: {entries: 100} in the site file"


def event_checks(draft: Draft, document: Document) -> Iterator[Problem]:
    """Every point and file that asks for more of the log than there is."""
    written = document.data.get("event_log")
    if written is None:
        log = None
    else:
        try:
            log = EventLog.model_validate(written)
        except ValueError:
            return  # the record itself is complained of elsewhere
    yield from _points(draft, log)
    yield from _files(document, log)


def _points(draft: Draft, log: EventLog | None) -> Iterator[Problem]:
    for index, point in draft.points.good.items():
        if point.subject != "events":
            continue
        place = draft.points.at(index, "shows")
        if log is None:
            yield Problem(place, f"{point.name}: {_NO_LOG}", _WRITE_ONE)
            continue
        number = event_number(point.what)
        if number is not None and not 1 <= number <= log.entries:
            what = f"{point.name}: the log has no entry {number}, it keeps {log.entries}"
            yield Problem(place, what, f"write events.1 to events.{log.entries}")


def _files(document: Document, log: EventLog | None) -> Iterator[Problem]:
    try:
        files = MapRules.model_validate(document.data.get("map", {})).files
    except ValueError:
        return
    for index, file in enumerate(files):
        if file.content is not FileContent.EVENTS:
            continue
        place = document.place(("map", "files", index, "records"))
        if log is None:
            yield Problem(place, f"file {file.number}: {_NO_LOG}", _WRITE_ONE)
            continue
        held, over = divmod(file.records - FILE_HEAD, FILE_ENTRY)
        if over or not 1 <= held <= log.entries:
            what = f"file {file.number}: {file.records} records hold no whole number of entries"
            if not over and held > log.entries:
                what = (
                    f"file {file.number} has room for {held} entries, the log keeps {log.entries}"
                )
            most = FILE_HEAD + FILE_ENTRY * log.entries
            remedy = f"write records: {most}, which is {FILE_HEAD} and {FILE_ENTRY} for each entry"
            yield Problem(place, what, remedy)
