"""What stands behind the results: points with worked bytes, punch list, as found and as left,
remarks, attachments, and the raw frames of whatever failed.
"""

from collections.abc import Iterator
from typing import Final

from gaswitness.report_blocks import (
    Block,
    Cell,
    Column,
    Items,
    Paragraph,
    Section,
    Table,
    Tone,
    cell,
    mono,
    one_group,
    said,
)
from gaswitness.report_data import Frames, PointRow, PunchItem, Report, Setting
from gaswitness.report_punch import CATEGORY_WORDS
from gaswitness.report_words import instant, outcome_cell

LEFT_ON: Final = "LEFT ON"


def points(report: Report) -> Section:
    """The points list, each point with its bytes worked out."""
    columns = (
        Column("Point", 1.8),
        Column("Where", 1.7),
        Column("How", 1.6),
        Column("Shows", 1.4),
        Column("Verdict", 1.2),
        Column("Request", 1.7),
        Column("Response, the point's bytes marked", 3.2),
        Column("Worked out", 3.6),
    )
    rows = [_point(row) for row in report.points]
    words = (
        "For each point one exchange of the record: what was asked, what came, which bytes are the "
        "point's, and how they make the value. Addresses are those on the wire, from 0; references "
        "(3xxxxx, 4xxxxx) count from 1 and are a convention."
    )
    table = Table("Points list with worked bytes", columns, one_group(rows))
    return Section("points", "Points list", (Paragraph(said(words)), table), wide=True)


def _point(row: PointRow) -> tuple[Cell, ...]:
    scale = (
        f"scale {row.scale:g}, offset {row.offset:g}" if (row.scale, row.offset) != (1, 0) else ""
    )
    how = [f"{row.type} {row.order}", scale, row.unit]
    worked = row.worked
    if worked is None:
        last = (cell(), cell(row.why_not), cell())
    else:
        steps = (*(said(step) for step in worked.steps), said(f"decoded: {worked.value}"))
        last = (Cell((worked.request,)), Cell((worked.response,)), Cell(steps))
    return (
        cell(row.name),
        cell(f"{row.table} {row.address} ({row.reference}), {row.access}"),
        Cell(tuple(said(one) for one in how if one)),
        cell(row.shows),
        outcome_cell(row.outcome),
        *last,
    )


def punch(report: Report) -> Section:
    """Deviations and what is open."""
    meaning = Items(tuple(said(f"{name}: {words}") for name, words in CATEGORY_WORDS.items()))
    words = (
        "D: noted by a person during the run. V: left open by a verdict, its category a proposal. "
        "What the categories mean is common practice; the contract comes first."
    )
    blocks: list[Block] = [Paragraph(said(words)), meaning]
    if report.punch:
        columns = (
            Column("No.", 0.7),
            Column("Category", 1.1),
            Column("About", 2),
            Column("What", 4.5),
            Column("Noted by", 1.2),
            Column("Issue", 0.7),
            Column("Newest verdict", 1.2),
            Column("Cleared by, date", 1.4),
        )
        rows = [_punch(item) for item in report.punch]
        blocks.append(Table("What is open", columns, one_group(rows)))
    else:
        blocks.append(Paragraph(said("Nothing is on it.")))
    return Section("punch", "Deviations and punch list", tuple(blocks), wide=True)


def _punch(item: PunchItem) -> tuple[Cell, ...]:
    category = item.category if item.noted else f"{item.category} proposed"
    return (
        cell(item.number),
        cell(category),
        cell(item.about),
        cell(item.text),
        cell(item.by),
        cell(item.issue),
        cell(item.newest),
        cell(),
    )


def settings(report: Report) -> Section:
    """As found and as left."""
    title = "As found and as left"
    if not report.settings:
        return Section("settings", title, (Paragraph(said("Nothing was polled.")),))
    columns = (
        Column("What", 2),
        Column("Stated", 1.4),
        Column("As found", 1.4),
        Column("As left", 1.4),
        Column("Remark", 1.4),
    )
    first, last = report.settings[0], report.settings[-1]
    words = (
        f"From the first samples ({instant(first.found_s)}, issue {report.issues[0].issue}) and "
        f"the last ({instant(last.left_s)}, issue {report.issues[-1].issue}), as the panel says. "
        "What no point shows is not in it: look at the panel before it serves again."
    )
    left_on = [one.name for one in report.settings if one.remark == LEFT_ON]
    blocks: list[Block] = [Paragraph(said(words))]
    if left_on:
        told = f"Left on at the end of the run: {', '.join(left_on)}."
        blocks.append(Paragraph(said(told), Tone.CAUTION))
    rows = [_setting(one) for one in report.settings]
    blocks.append(Table("Settings and states", columns, one_group(rows)))
    return Section("settings", title, tuple(blocks))


def _setting(one: Setting) -> tuple[Cell, ...]:
    tone = Tone.CAUTION if one.remark else Tone.PLAIN
    return (
        cell(one.name),
        cell(one.stated),
        cell(one.found),
        cell(one.left),
        cell(one.remark, tone=tone),
    )


def remarks(report: Report) -> Section:
    """What the run and its people said, and files put into the record."""
    blocks: list[Block] = []
    for one in report.issues:
        if one.remarks:
            blocks.append(Paragraph(said(f"Issue {one.issue}:")))
            blocks.append(Items(tuple(map(said, one.remarks))))
    if report.attached:
        columns = (
            Column("File", 1.6),
            Column("About"),
            Column("Words", 2.4),
            Column("Kind"),
            Column("SHA-256", 3),
        )
        rows = [
            (
                cell(one.name),
                cell(one.about),
                cell(one.words),
                cell(one.media_type),
                Cell((said(mono(one.sha256)),)),
            )
            for one in report.attached
        ]
        blocks.append(Table("Files put into the record", columns, one_group(rows)))
    if not blocks:
        blocks.append(Paragraph(said("None.")))
    return Section("remarks", "Remarks and attachments", tuple(blocks))


def frames(report: Report) -> Section:
    """The appendix of raw frames."""
    title = "Appendix: raw frames of what failed"
    if not report.frames:
        return Section("frames", title, (Paragraph(said("Nothing failed.")),))
    words = (
        "The exchanges around the instant of each failure that show the points it speaks of; their "
        "bytes stand in brackets. All others are in the record."
    )
    inner = tuple(_frames(one, number) for number, one in enumerate(report.frames, 1))
    return Section("frames", title, (Paragraph(said(words)), *inner), wide=True)


def _frames(one: Frames, number: int) -> Section:
    at = f" At {instant(one.at_s)} of issue {one.issue}." if one.at_s is not None else ""
    blocks: list[Block] = [Paragraph(said(f"{one.because}.{at}"))]
    if one.remark:
        blocks.append(Paragraph(said(f"{one.remark[:1].upper()}{one.remark[1:]}."), Tone.NOTE))
    if one.rows:
        columns = (
            Column("Sent, received", 1.2),
            Column("Asked for", 1.6),
            Column("Request", 2),
            Column("Response", 5),
            Column("Says", 2.6),
        )
        rows = [
            (
                Cell((said(f"{row.sent_s:.3f} s"), said(f"{row.received_s:.3f} s"))),
                cell(row.asked),
                Cell((row.request,)),
                Cell((row.response,)),
                Cell(tuple(said(value) for value in row.values)),
            )
            for row in one.rows
        ]
        blocks.append(Table(f"Frames of {one.of}", columns, one_group(rows)))
    return Section(f"frames-{number}", one.of, tuple(blocks))


def back_sections(report: Report) -> Iterator[Section]:
    """All of them, in order."""
    yield points(report)
    yield punch(report)
    yield settings(report)
    yield remarks(report)
