"""Example requests and answers on the handover page, every byte named."""

from gaswitness.handover_polling import Way
from gaswitness.page import Column, Markup, element, joined, paragraph, table
from gaswitness_scenarios.example_frames import (
    ExampleFrames,
    Part,
    gap_frames,
    read_frames,
    write_frames,
)
from gaswitness_scenarios.rest_panel import RestPanel
from gaswitness_sitefile.site import Site


def frames_block(site: Site, way: Way) -> Markup:
    """A read of the way's first block and of a gap, and one write of each kind, over both framings;
    the page's own style sets them side by side."""
    rest = RestPanel(site)
    unit = way.unit
    found: list[ExampleFrames] = []
    for rtu in (False, True):
        if way.blocks:
            found.append(read_frames(rest, way.blocks[0], unit, rtu=rtu))
        gap = gap_frames(rest, site, unit, rtu=rtu)
        found += [gap] if gap is not None else []
    writes = [one for rtu in (False, True) for one in write_frames(site, unit, rtu=rtu)]
    lead = paragraph(
        f"Unit id {unit}, the panel at rest in clean air. All in hex, byte after byte as on the "
        "wire. The CRC of RTU frames goes low byte first."
    )
    body = [lead, _frames_beside(found, 1)]
    if writes:
        body.append(element("h3", "Writes"))
        body.append(
            paragraph(
                "Only with leave, on a panel that is out of service or with other protection in "
                "place. Gaswitness sends none of these."
            )
        )
        body.append(_frames_beside(writes, len(found) + 1))
    return joined(body)


def _frames_beside(frames: list[ExampleFrames], first: int) -> Markup:
    return element(
        "div", *(_frame(at, one) for at, one in enumerate(frames, first)), class_="beside"
    )


def _frame(at: int, one: ExampleFrames) -> Markup:
    rows = [("request", *_part(part)) for part in one.request]
    rows += [("answer", *_part(part)) for part in one.answer]
    return table(
        f"{one.title}, {one.framing}",
        ["Frame", Column("Bytes", "bytes"), "What they are"],
        rows,
        id_=f"frame-{at}",
        style="frames",
    )


def _part(part: Part) -> tuple[str, str]:
    data, said = part
    return data.hex(" ").upper(), said
