"""What can go wrong with a link, for callers that must have a reply. A panel that misbehaves is
otherwise a finding: see `exchange`."""

from gaswitness_sitefile.errors import GaswitnessError


class LinkError(GaswitnessError):
    """The link does not serve: check cabling, address, port and unit id."""


class NoConnection(LinkError):
    """Nothing listens there, the way is barred, or the peer has gone."""


class NoReply(LinkError):
    """The panel kept silent for the whole time-out."""


class Malformed(LinkError):
    """A reply that breaks the protocol; `raw` holds its bytes as received."""

    def __init__(self, text: str, raw: bytes) -> None:
        super().__init__(text)
        self.raw = raw


class Refused(LinkError):
    """The panel answered with an exception: function and exception code as received."""

    def __init__(self, text: str, *, function: int, code: int) -> None:
        super().__init__(text)
        self.function = function
        self.code = code
