"""As found and as left: setpoints, inhibits, alarms, outputs and readings in the first and in the
last samples of a run, beside what the site file states. From what polling saw.
"""

from collections.abc import Iterator
from typing import Final

from gaswitness.report_data import Setting
from gaswitness.report_issues import Issue
from gaswitness.report_points import value_words
from gaswitness_probe.facts import reading_points
from gaswitness_probe.history import PointHistory
from gaswitness_probe.observe import Stretch
from gaswitness_probe.signal import FALSE, TRUE
from gaswitness_probe.view import PanelView
from gaswitness_sitefile.channel import Channel
from gaswitness_sitefile.points import NUMERIC, Access, Point

WORDS: Final = {TRUE: "on", FALSE: "off"}
SETTINGS: Final = ("setpoint", "hysteresis")
DECIMALS: Final = 4
AT_REST: Final = ("inhibit", "fault")
PANEL: Final = ("fault", "inhibit", "unaccepted", "warm_up")


def settings_of(found: Issue, left: Issue) -> tuple[Setting, ...]:
    """From the first samples of the oldest issue to the last samples of the newest."""
    before, after = found.expected.view, left.expected.view
    if not before.histories and not after.histories:
        return ()
    rows = [
        *_setpoints(before, after),
        *_readings(before, after),
        *(_fact(before, after, fact) for fact in _facts(after)),
    ]
    return tuple(row for row in rows if row is not None)


def _setpoints(before: PanelView, after: PanelView) -> Iterator[Setting | None]:
    for point in after.site.points:
        level, _, what = point.what.partition(".")
        if what not in SETTINGS or point.type not in NUMERIC or point.access is Access.WRITE:
            continue
        channel = after.site.channel_of.get(point.subject)
        stated = _stated(channel, level, what)
        row = _of_point(before, after, point, f"{point.subject} {level} {what}", stated)
        if row is not None:
            yield row


def _stated(channel: Channel | None, level: str, what: str) -> str:
    if channel is None or level not in channel.levels:
        return ""
    found = channel.levels[level]
    value = found.setpoint if what == "setpoint" else found.hysteresis
    return f"{value:.9g} {channel.unit}"


def _readings(before: PanelView, after: PanelView) -> Iterator[Setting | None]:
    for channel in after.site.channels:
        for point in reading_points(after.site, channel.tag)[:1]:
            stated = f"clean air: {channel.clean_reading:.9g} {channel.unit}"
            yield _of_point(before, after, point, f"{channel.tag} reading", stated)


def _of_point(
    before: PanelView, after: PanelView, point: Point, name: str, stated: str
) -> Setting | None:
    first, last = before.histories.get(point.name), after.histories.get(point.name)
    if not _seen(first) or not _seen(last):
        return None
    assert first is not None
    assert last is not None
    found, left = first.runs[0], last.runs[-1]
    return Setting(
        name=name,
        stated=stated,
        found=value_words(point, found.value, DECIMALS),
        left=value_words(point, left.value, DECIMALS),
        found_s=found.first.answered_s,
        left_s=left.last.answered_s,
        remark=_changed(found.value != left.value and point.what != "reading"),
    )


def _seen(history: PointHistory | None) -> bool:
    return history is not None and len(history.runs) > 0


def _changed(differs: object) -> str:
    return "changed during the run" if differs else ""


def _facts(view: PanelView) -> Iterator[str]:
    site = view.site
    yield from (f"panel.{what}" for what in PANEL)
    for channel in site.channels:
        yield from (f"{channel.tag}.{what}" for what in (*AT_REST, *channel.levels))
    yield from (f"{one.tag}.active" for one in site.inputs)
    for output in site.outputs:
        yield from (f"{output.tag}.active", f"{output.tag}.muted")


def _fact(before: PanelView, after: PanelView, fact: str) -> Setting | None:
    first, last = before.parts(fact), after.parts(fact)
    if not first or not last or after.source(fact) is None:
        return None
    found, left = first[0], last[-1]
    return Setting(
        name=fact,
        stated="off at rest",
        found=_word(found),
        left=_word(left),
        found_s=found.first.high,
        left_s=left.last.high,
        remark="LEFT ON" if left.value is TRUE else "",
    )


def _word(part: Stretch) -> str:
    return WORDS.get(part.value, "not known")
