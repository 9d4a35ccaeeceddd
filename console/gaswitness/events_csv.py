"""The event log of a virtual panel as a table of comma-separated values, one row an event."""

import csv
import io
from typing import Final

from gaswitness_scenarios.panel_trace import PanelTrace
from gaswitness_scenarios.words import called
from gaswitness_sitefile.event_log import CODE_OF, subject_codes

COLUMNS: Final = ("event", "time_s", "subject", "what", "called", "code", "subject_code")


def events_csv(trace: PanelTrace) -> str:
    """The table, the oldest event first.

    A row has its number since the panel began, the second of the panel, whom it is about and what
    it says, in words and in the codes that registers show.
    """
    site = trace.site
    subjects = subject_codes(tuple(site.channel_of), tuple(site.input_of), tuple(site.output_of))
    written = io.StringIO()
    table = csv.writer(written, lineterminator="\n")
    table.writerow(COLUMNS)
    for number, event in enumerate(trace.events, 1):
        if event.at_s < trace.from_s:
            continue
        codes = (CODE_OF[event.what], subjects[event.subject])
        name = "" if event.subject == "panel" else called(site, event.subject)
        table.writerow([number, repr(event.at_s), event.subject, event.what, name, *codes])
    return written.getvalue()
