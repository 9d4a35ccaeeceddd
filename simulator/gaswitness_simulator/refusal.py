"""Exception responses: the codes, and the refusal that carries one (V1.1b3 clause 7)."""

from typing import Final

ILLEGAL_FUNCTION: Final = 1
ILLEGAL_ADDRESS: Final = 2
ILLEGAL_VALUE: Final = 3
DEVICE_FAILURE: Final = 4
PATH_UNAVAILABLE: Final = 0x0A
TARGET_SILENT: Final = 0x0B


class Refused(Exception):
    """The panel answers with an exception response of this code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code
