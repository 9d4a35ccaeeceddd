"""A virtual panel at rest, asked with plain PDUs: clean air, no noise, the start-up long over."""

from gaswitness_probe.frames import read_request
from gaswitness_simulator.device import VirtualDevice
from gaswitness_simulator.panel import VirtualPanel
from gaswitness_sitefile.points import Point, Table
from gaswitness_sitefile.site import Site

Words = tuple[int, ...]
"""What addresses hold, the first first: registers 0..65535, bits 0 or 1."""

SETTLE_SCANS = 4


class RestPanel:
    """The site's panel as it stands when nothing has happened since it came up."""

    def __init__(self, site: Site) -> None:
        quiet = site.model_copy(
            update={
                "channels": tuple(
                    channel.model_copy(update={"noise": 0.0, "room": None})
                    for channel in site.channels
                ),
                "rooms": (),
                "exchanges": (),
                "link_faults": (),
            }
        )
        timing = site.timing
        self._panel = VirtualPanel(quiet, seed=0)
        self._device = VirtualDevice(self._panel)
        settled_s = SETTLE_SCANS * timing.scan_s + timing.refresh_s
        self._now_s = site.alarms_count_after_s + settled_s
        self._panel.advance(self._now_s)

    def answer(self, pdu: bytes) -> bytes:
        """The PDU of the answer. A write is taken, as the panel takes it."""
        answer = self._device.answer(1, pdu, self._now_s)
        assert answer is not None  # every unit that is asked for is this panel's
        return answer

    def read(self, table: Table, address: int, count: int) -> Words | None:
        """What the addresses hold; None where the panel answers with an exception."""
        answer = self.answer(read_request(table, address, count))
        if answer[0] & 0x80:
            return None
        data = answer[2:]
        if table.of_bits:
            packed = int.from_bytes(data, "little")
            return tuple(packed >> at & 1 for at in range(count))
        return tuple(int.from_bytes(data[at : at + 2], "big") for at in range(0, len(data), 2))

    def read_point(self, point: Point) -> Words | None:
        """What the point's addresses hold; None where it cannot be read."""
        return self.read(point.table, point.address, point.width)
